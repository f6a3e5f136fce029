"""Static figure of friction along single conditions: energy density near the reference temperature, lines of pressure and of speed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl
from matplotlib.figure import Figure

from pipeline.report import frame, palette
from pipeline.report.condition_curves import ALONG, cut
from pipeline.report.inputs import Inputs
from pipeline.report.plot_style import MOST_POINTS, panel, short, unlisted
from pipeline.report.stop_figures import temperature_column
from pipeline.results.friction_blocks import Line

NEAR = 40.0  # K about the reference temperature
MOST_NAMED = 8  # batches that a legend names


def conditions(inputs: Inputs) -> Figure | None:
    """µ against energy density, and along pressure and speed; None without a stop or a line."""
    fig, axes = panel(2.25, 3, sharey=True)
    looks = palette.batches(inputs.batch_names)
    for place, column in enumerate(ALONG):
        _curve(axes[place], inputs, column)
    drawn = _energy(axes[0], inputs, looks)
    lines = inputs.friction.result.lines
    for place, (along, words) in enumerate((("pressure", "Pressure (bar)"), ("speed", "Speed at the start (rpm)")), 1):
        own = [line for line in lines if line.along == along]
        for line in own:
            _line(axes[place], line, looks.get(line.batch or "", palette.plain(0)))
        drawn = drawn or bool(own)
        if not own:
            axes[place].text(
                0.5, 0.5, "no such line was run", ha="center", transform=axes[place].transAxes, color=palette.MUTED
            )
        axes[place].set(xlabel=words)
    axes[0].set(xlabel="Energy density of pad area (J/mm²)", ylabel="Friction coefficient µ")
    if len(looks) <= MOST_NAMED and axes[0].get_legend_handles_labels()[0]:
        fig.legend(*axes[0].get_legend_handles_labels(), ncols=min(len(looks), 4), loc="outside upper center")
    return fig if drawn else None


def _energy(axes: Any, inputs: Inputs, looks: Mapping[str, palette.Look]) -> bool:
    """Ok map and check stops near the reference temperature; whether there is any."""
    reference = inputs.friction.result.reference
    if reference is None or reference.temperature_c is None:
        return False
    column, _ = temperature_column(inputs.settings.reduction.temperature)
    near = (pl.col(column) - reference.temperature_c).abs() <= NEAR
    kept = (pl.col("status") == "ok") & pl.col("purpose").is_in(["map", "check"]) & near
    named, used = set[str](), [test for test in inputs.usable if test.card]
    for test in used:
        batch = test.card.batch if test.card else ""
        rows = test.stops.filter(kept).select("energy_density_j_mm2", "mu").drop_nulls().rows()
        rows = frame.spread(rows, max(MOST_POINTS // len(used), 12))
        if rows:
            look = looks[batch]
            axes.plot(
                [x for x, _ in rows], [y for _, y in rows], look.marker, ms=2.8, color=look.colour, alpha=0.6, mew=0,
                label=short(batch) if batch not in named else unlisted(batch),
            )  # fmt: skip
            named.add(batch)
    return bool(named)


def _line(axes: Any, line: Line, look: palette.Look) -> None:
    known = [(level.pressure_bar if line.along == "pressure" else level.speed_rpm, level.mu) for level in line.levels]
    points = [(x, mu) for x, mu in known if x is not None and mu.value is not None]
    colour, marker = look.colour, look.marker
    name = f"{line.along} line of {line.batch or 'the compound'}"
    axes.plot(
        [x for x, _ in points],
        [mu.value for _, mu in points],
        color=colour,
        lw=0.9,
        marker=marker,
        ms=3,
        mew=0,
        label=unlisted(name),
    )
    for x, mu in points:
        if mu.low is not None and mu.high is not None:
            axes.plot([x, x], [mu.low, mu.high], color=colour, lw=0.8, label=unlisted(f"interval, {name}"))


def _curve(axes: Any, inputs: Inputs, column: str) -> None:
    """The map's curve along the condition, the others at the reference, with its band."""
    found = cut(inputs.friction.result, column)
    for stretch in found.stretches if found else []:
        x, mu, low, high = zip(*stretch, strict=True)
        axes.fill_between(x, low, high, color=palette.ACCENT, alpha=0.18, lw=0, label=unlisted("band of the map"))
        axes.plot(x, mu, color=palette.ACCENT, lw=1.2, label=unlisted("map, the other conditions at the reference"))
