"""Interactive figures of a compound: friction over temperature with a curve for each batch, friction along the other
conditions, and the wear of each batch. A point is a stop: its trace names the test, its data the stop.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import plotly.graph_objects as go
import polars as pl

from pipeline.report import condition_curves, frame, numbers, palette
from pipeline.report.inputs import Inputs, OfTest
from pipeline.report.sections.honest import apart
from pipeline.report.stop_figures import CONDITIONS, MU, OF_THE_MAP, add_curve, stretches, temperature_column
from pipeline.report.wear_words import name_of
from pipeline.results.compound_friction import CompoundFriction, OfBatch
from pipeline.results.friction_blocks import Level
from pipeline.results.model import Interval

MOST_POINTS = 4000  # of a figure, an even choice of each test's; the sheet says where there are more
HOVER = "%{stop}<br>µ %{y:.3f} at %{x:.4g}"
APART = 0.14  # of the components of a batch, along the axis
LINE_OF = {"pressure_bar": "pressure", "speed_start_rpm": "speed"}


def figures(inputs: Inputs) -> dict[str, go.Figure]:
    """The page's figures by the name of their place; one with nothing to show is left out."""
    made = {
        "friction_temperature": friction_temperature(inputs),
        **{name: along(inputs, column, words, unit) for name, column, words, unit in CONDITIONS},
        "batch_wear": batch_wear(inputs),
    }
    return {name: figure for name, figure in made.items() if figure.data}


def friction_temperature(inputs: Inputs) -> go.Figure:
    """µ over the method's temperature: stops in the colour of their batch, and curves with bands: each batch's own where a pair of
    batches is shown to differ, else that of all together."""
    column, words = temperature_column(inputs.settings.reduction.temperature)
    fig = frame.figure(frame.axis(words, "°C"), frame.axis(MU, "", rangemode="tozero"), height=440)
    found = inputs.friction.result
    _target(fig, inputs)
    window = found.window
    for end, word, at in (
        ((window.low_c, "from", "bottom right"), (window.high_c, "to", "bottom left")) if window else ()
    ):
        fig.add_vline(
            x=end,
            line={"color": palette.ACCENT, "dash": "dash", "width": 1.2},
            annotation={"text": f"window {word} {end:.0f} °C", "font": {"size": 11, "color": palette.ACCENT}},
            annotation_position=at,
        )
    _add_stops(fig, inputs, column, {"map": True, "other": True})
    looks = palette.batches(inputs.batch_names)
    if apart(inputs) and any(batch.curve for batch in found.by_batch):
        for batch in found.by_batch:
            _add_batch_curve(fig, batch, looks.get(batch.batch, palette.plain(0)))
        _add_pooled(fig, found)
    else:
        add_curve(fig, found.curve)
    return fig


def _target(fig: go.Figure, inputs: Inputs) -> None:
    """The target band of µ over the target range of temperature; over all temperatures where no range is asked for."""
    target = inputs.target.result if inputs.target else None
    if target is None or target.mu is None:
        condition_curves.add_target(fig, inputs.friction.result, "band about the plateau (no target)")
    elif target.temperature_window is None:
        condition_curves.add_target(fig, inputs.friction.result, "target band of µ")
    else:
        (x0, x1), (y0, y1) = target.temperature_window, target.mu
        note = {"text": "target", "font": {"size": 11, "color": palette.MUTED}}
        fig.add_shape(type="rect", x0=x0, x1=x1, y0=y0, y1=y1, fillcolor=palette.WANTED, line_width=0, layer="below")
        fig.add_annotation(x=x0, y=y1, showarrow=False, xanchor="left", yanchor="bottom", **note)


def _add_batch_curve(fig: go.Figure, batch: OfBatch, look: palette.Look) -> None:
    """A batch's own curve with the confidence band of its mean."""
    for part in stretches(batch.curve):
        x = [point.temperature_c for point in part]
        for ends, fill in (([p.high for p in part], None), ([p.low for p in part], "tonexty")):
            fig.add_scatter(
                x=x,
                y=ends,
                mode="lines",
                line={"width": 0},
                fill=fill,
                fillcolor=_faint(look.colour),
                showlegend=False,
                hoverinfo="skip",
                legendgroup=batch.batch,
            )
        fig.add_scatter(
            x=x,
            y=[p.mu for p in part],
            mode="lines",
            name=f"curve of {frame.label(batch.batch)}",
            showlegend=False,
            legendgroup=batch.batch,
            line={"color": look.colour, "width": 2.4, "dash": look.dash},
            hovertemplate=f"%{{x:.0f}} °C: µ %{{y:.3f}}<extra>curve of {frame.label(batch.batch)}</extra>",
        )


def _add_pooled(fig: go.Figure, found: CompoundFriction) -> None:
    """The curve over all batches, thin: where batches differ it is none of theirs."""
    for number, part in enumerate(stretches(found.curve)):
        fig.add_scatter(
            x=[p.temperature_c for p in part],
            y=[p.mu for p in part],
            mode="lines",
            name="all batches together",
            showlegend=number == 0,
            line={"color": palette.MUTED, "width": 1.2, "dash": "dot"},
            hovertemplate="%{x:.0f} °C: µ %{y:.3f}<extra>all batches together</extra>",
        )


def _faint(colour: str) -> str:
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red}, {green}, {blue}, 0.16)"


def _add_stops(
    fig: go.Figure, inputs: Inputs, column: str, kinds: Mapping[str, bool], within: pl.Expr | None = None
) -> None:
    """The ok stops of every test in the colour of its batch: of map and checks filled, of other purposes small and open."""
    used = [test for test in inputs.usable if len(test.stops) and column in test.stops.columns]
    looks, named = palette.batches(inputs.batch_names), set[str]()
    most = max(MOST_POINTS // max(len(used), 1), 20)
    of_map = pl.col("purpose").is_in(list(OF_THE_MAP)).fill_null(False)
    for kind, chosen in (("other", ~of_map), ("map", of_map)):
        for test in used if kinds.get(kind) else ():
            kept = chosen & (pl.col("status") == "ok") & pl.col("mu").is_not_null() & pl.col(column).is_not_null()
            rows = test.stops.filter(kept if within is None else kept & within).select(column, "mu", "stop").rows()
            if rows:
                _points(fig, test, frame.spread(rows, most), kind, looks, named)


def _points(
    fig: go.Figure, test: OfTest, rows: Sequence[Any], kind: str, looks: Mapping[str, palette.Look], named: set[str]
) -> None:
    batch = test.card.batch if test.card else ""
    look, small = looks.get(batch, palette.plain(0)), kind == "other"
    group = "other" if small else batch
    points = frame.named(("stop",), [row[2] for row in rows], f"{frame.label(test.test)}, stop {HOVER}<extra></extra>")
    points["meta"]["test"] = test.test
    fig.add_scatter(
        x=frame.trimmed(row[0] for row in rows),
        y=frame.trimmed(row[1] for row in rows),
        mode="markers",
        name="stops of other purposes" if small else frame.label(batch or "no batch"),
        legendgroup=group,
        showlegend=group not in named,
        marker={
            "color": look.colour,
            "symbol": f"{look.symbol}-open" if small else look.symbol,
            "size": 5 if small else 7,
            "opacity": 0.55 if small else 0.85,
            "line": {"width": 1 if small else 0.5, "color": look.colour if small else palette.PAPER},
        },
        **points,
    )
    named.add(group)


def along(inputs: Inputs, column: str, words: str, unit: str) -> go.Figure:
    """µ along one condition: stops of map and checks at the window's temperatures, the levels of lines of blocks that differ in
    that condition alone, and the curve with the other conditions at the reference."""
    fig = frame.figure(
        frame.axis(words, unit, rangemode="tozero"),
        frame.axis(MU, "", rangemode="tozero"),
        height=320,
        showlegend=False,
        margin={"l": 56, "r": 20, "t": 8, "b": 52},
    )
    found = inputs.friction.result
    temperature, _ = temperature_column(inputs.settings.reduction.temperature)
    inside = pl.col(temperature).is_between(found.window.low_c, found.window.high_c) if found.window else None
    _add_stops(fig, inputs, column, {"map": True}, inside)
    if not fig.data:
        return fig
    condition_curves.add_target(fig, found)
    condition_curves.add(fig, found, column)
    _add_lines(fig, inputs, column)
    return fig


def _add_lines(fig: go.Figure, inputs: Inputs, column: str) -> None:
    """Each batch's levels along the condition with their intervals, joined where they are one line."""
    looks = palette.batches(inputs.batch_names)
    for line in inputs.friction.result.lines:
        levels = [one for one in line.levels if one.mu.value is not None]
        if line.along != LINE_OF.get(column) or len(levels) < 2:
            continue
        look = looks.get(line.batch or "", palette.plain(0))
        mean = sum(one.temperature_c or 0.0 for one in levels) / len(levels)
        fig.add_scatter(
            x=frame.trimmed(_place(one, column) for one in levels),
            y=frame.trimmed(one.mu.value for one in levels),
            error_y={**_errors([one.mu for one in levels]), "color": look.colour},
            mode="lines+markers",
            name=f"blocks of {frame.label(line.batch or 'the test')}",
            line={"color": look.colour, "width": 1.2, "dash": look.dash},
            marker={"color": look.colour, "symbol": f"{look.symbol}-open", "size": 9, "line": {"width": 1.6}},
            hovertemplate=f"blocks at {mean:.0f} °C: %{{x:.4g}} {unit_of(column)}, µ %{{y:.3f}}"
            f"<extra>{frame.label(line.batch or '')}</extra>",
        )


def unit_of(column: str) -> str:
    """Unit of the condition."""
    return next(unit for _, name, _, unit in CONDITIONS if name == column)


def _place(level: Level, column: str) -> float | None:
    return level.pressure_bar if column == "pressure_bar" else level.speed_rpm


def _errors(values: Sequence[Interval]) -> dict[str, Any]:
    """The two arms of intervals about their values, for a trace."""
    return {
        "type": "data",
        "symmetric": False,
        "array": frame.trimmed((v.high - v.value if None not in (v.high, v.value) else 0.0) for v in values),  # type: ignore[operator]
        "arrayminus": frame.trimmed((v.value - v.low if None not in (v.low, v.value) else 0.0) for v in values),  # type: ignore[operator]
        "thickness": 1.2,
        "width": 3,
    }


def batch_wear(inputs: Inputs) -> go.Figure:
    """Wear per stop and face of every batch by component, over the map and duty blocks of all tests, with 95 % intervals."""
    components = inputs.wear.result.components or {}
    names = list(dict.fromkeys(one.batch for found in components.values() for one in found.by_batch))
    across = {"tickvals": list(range(len(names))), "ticktext": [frame.label(name) for name in names]}
    fig = frame.figure(
        frame.axis("Batch", "", range=[-0.5, max(len(names), 1) - 0.5], **across),
        frame.axis("Wear per stop and face", "µm", rangemode="tozero"),
        height=320,
        margin={"l": 56, "r": 20, "t": 24, "b": 52},
    )
    for index, (name, found) in enumerate(sorted(components.items())):
        pairs = [(one.batch, one.map_and_duty.um_per_stop_per_face) for one in found.by_batch if one.map_and_duty]
        rows = [(batch, value) for batch, value in pairs if value.value is not None]
        if not rows:
            continue
        look = palette.component(name, index)
        fig.add_scatter(
            x=[names.index(batch) + APART * (index - (len(components) - 1) / 2) for batch, _ in rows],
            y=frame.trimmed(value.value for _, value in rows),
            error_y={**_errors([value for _, value in rows]), "color": look.colour},
            mode="markers",
            name=name_of(name),
            marker={"color": look.colour, "symbol": look.symbol, "size": 10},
            text=[frame.label(batch) for batch, _ in rows],
            hovertemplate=f"%{{text}}: %{{y:.3g}} {numbers.unit_words('um')}<extra>{name_of(name)}</extra>",
        )
    return fig
