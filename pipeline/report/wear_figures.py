"""Interactive figures of wear: intervals, measured against predicted, the law with its band, shares by cause and
block.
"""

from collections.abc import Mapping
from typing import NamedTuple

import plotly.graph_objects as go

from pipeline.report import frame, numbers, palette
from pipeline.report.wear_words import law_name, name_of
from pipeline.results.wear import LawCurve, Share, TestWear, WearInterval


def span(interval: WearInterval) -> str:
    """`stops 41 to 60` of one interval between readings (from_stop is the count at the first reading)."""
    return f"{interval.from_stop + 1}\u2013{interval.to_stop}"


def wear_per_interval(wear: TestWear) -> go.Figure:
    """Measured thickness loss per stop of each interval with its standard uncertainty, one series a component."""
    fig = frame.figure(
        frame.axis("Interval between readings", "stops"),
        frame.axis("Thickness loss per stop (disc: both faces)", "µm"),
        height=400,
        barmode="group",
    )
    for index, (component, found) in enumerate(sorted((wear.components or {}).items())):
        rows = [i for i in found.intervals if i.to_stop > i.from_stop]
        if not rows:
            continue
        count = [i.to_stop - i.from_stop for i in rows]
        errors = [i.wear_u_um / n for i, n in zip(rows, count, strict=True)]
        fig.add_bar(
            x=[span(i) for i in rows],
            y=frame.trimmed([i.wear_um / n for i, n in zip(rows, count, strict=True)]),
            error_y={"type": "data", "array": frame.trimmed(errors, 3), "color": palette.INK, "thickness": 1.2},
            name=name_of(component),
            marker={"color": palette.component(component, index).colour},
            **frame.named(
                ("wear_um", "wear_u_um"),
                [[i.wear_um, i.wear_u_um] for i in rows],
                "stops %{x}: %{y:.3f} µm per stop<br>interval %{wear_um:.1f} µm (u %{wear_u_um:.1f})<extra></extra>",
            ),
        )
    fig.update_xaxes(type="category")
    return fig if fig.data else frame.say(fig, "no wear interval: wear.csv is missing or has fewer than two readings")


def measured_predicted(wear: TestWear) -> go.Figure:
    """Interval wear by the chosen law against the measured, with the line of equality and the readings' uncertainty."""
    fig = frame.figure(
        frame.axis("Measured thickness loss in the interval", "µm"),
        frame.axis("Loss by the chosen law", "µm"),
        height=400,
    )
    ends: list[float] = []
    for index, (component, found) in enumerate(sorted((wear.components or {}).items())):
        pairs = [(i, i.predicted_um) for i in found.intervals if i.predicted_um is not None]
        if not pairs:
            continue
        rows, predicted = [i for i, _ in pairs], [um for _, um in pairs]
        colour, symbol, *_ = palette.component(component, index)
        measured = [i.wear_um for i in rows]
        ends += measured + predicted
        fig.add_scatter(
            x=frame.trimmed(measured),
            y=frame.trimmed(predicted),
            mode="markers",
            name=f"{name_of(component)}: {law_name(found)}",
            error_x={"type": "data", "array": frame.trimmed([2 * i.wear_u_um for i in rows], 3), "thickness": 1.2},
            marker={"color": colour, "symbol": symbol, "size": 9},
            text=[f"stops {span(i)}" for i in rows],
            hovertemplate="%{text}<br>measured %{x:.1f} µm, by law %{y:.1f} µm<extra></extra>",
        )
    if not ends:
        return frame.say(fig, "no fitted wear law")
    low, high = min(ends), max(ends)
    margin = 0.06 * (high - low or 1.0)
    line = [low - margin, high + margin]
    fig.add_scatter(
        x=line,
        y=line,
        mode="lines",
        name="equal",
        line={"color": palette.MUTED, "dash": "dot", "width": 1.2},
        hoverinfo="skip",
    )
    return fig


class LawPlot(NamedTuple):
    """A law's curve to be drawn: temperatures (degC), values, and the ends of their intervals, None unless all are
    given.
    """

    x: list[float]
    y: list[float]
    band: tuple[list[float], list[float]] | None


def law_plot(law: LawCurve) -> LawPlot | None:
    """The points of a law that have a value; None without any."""
    points = [(p, p.value) for p in law.points if p.value is not None]
    if not points:
        return None
    ends = [(p.low, p.high) for p, _ in points if p.low is not None and p.high is not None]
    band = ([low for low, _ in ends], [high for _, high in ends]) if len(ends) == len(points) else None
    return LawPlot([p.temperature_c for p, _ in points], [value for _, value in points], band)


def law_curve(wear: TestWear) -> go.Figure:
    """The chosen law over temperature with its band, drawn over the data's range only."""
    fig = frame.figure(frame.axis("Disc temperature", "°C"), frame.axis("Wear rate", "µm/MJ"), height=400)
    for index, (component, found) in enumerate(sorted((wear.components or {}).items())):
        plot = law_plot(found.law)
        if plot is None:
            continue
        colour, x = palette.component(component, index).colour, plot.x
        if plot.band is not None:
            fig.add_scatter(x=x, y=plot.band[1], mode="lines", line={"width": 0}, showlegend=False, hoverinfo="skip")
            fig.add_scatter(
                x=x,
                y=plot.band[0],
                mode="lines",
                line={"width": 0},
                fill="tonexty",
                showlegend=False,
                hoverinfo="skip",
                fillcolor=_faint(colour),
            )
        fig.add_scatter(
            x=x,
            y=plot.y,
            mode="lines",
            name=f"{name_of(component)}: {law_name(found)}",
            line={"color": colour, "width": 2.2},
            hovertemplate="%{x:.0f} °C: %{y:.3g}<extra></extra>",
        )
        if found.law.unit:
            unit, _, words = found.law.unit.partition(" by ")
            name = f"{words.partition(',')[0].capitalize()} rate" if words else "Wear rate"
            fig.update_yaxes(title={"text": frame.label(f"{name} ({numbers.unit_words(unit)})")})
            if "surface" in words:
                fig.update_xaxes(title={"text": "Surface temperature, modelled (°C)"})
            if min(plot.y) > 0:
                fig.update_yaxes(type="log")
    return fig if fig.data else frame.say(fig, "the chosen law has no temperature in it, or no law could be fitted")


def _faint(colour: str) -> str:
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red}, {green}, {blue}, 0.18)"


def block_runs(rows: list[Share], purpose_of: Mapping[str, str], most: int = 14) -> list[str]:
    """A label for each row of the shares: its block, or, where there are many, the run of blocks of one purpose."""
    names = [row.block or "no block" for row in rows]
    if len(names) <= most:
        return names
    labels: list[str] = []
    start = 0
    for i in range(1, len(names) + 1):
        if i == len(names) or purpose_of.get(names[i]) != purpose_of.get(names[start]):
            many = i - start > 1
            labels += [f"{names[start][:16]} … {names[i - 1][:16]}" if many else names[start][:30]] * (i - start)
            start = i
    return labels


def wear_shares(wear: TestWear) -> go.Figure:
    """Wear of each block by the chosen law, stacked by mechanism; a panel a component; runs of like blocks together."""
    components = [(name, found) for name, found in sorted((wear.components or {}).items()) if found.shares]
    fig = frame.figure(
        frame.axis("Block, in the order run", ""),
        frame.axis("", ""),
        height=150 + 170 * max(len(components), 1),
        barmode="stack",
        bargap=0.25,
    )
    mechanisms = sorted({m for _, found in components for row in found.shares for m in row.wear_um})
    for panel, (component, found) in enumerate(components):
        number = "" if panel == 0 else str(panel + 1)
        top = 1 - panel / len(components)
        title = {"text": f"{name_of(component)}<br>(µm)", "font": {"size": 11.5}}
        fig.update_layout(
            {
                f"yaxis{number}": {
                    **frame.axis("", ""),
                    "rangemode": "tozero",
                    "domain": [top - 0.88 / len(components), top],
                    "anchor": "x",
                    "title": title,
                }
            }
        )
        purposes = {row.block or "no block": str(row.purpose) for row in found.blocks}
        labels = block_runs(found.shares, purposes)
        for index, mechanism in enumerate(mechanisms):
            sums: dict[str, float] = {}
            for label, row in zip(labels, found.shares, strict=True):
                sums[label] = sums.get(label, 0.0) + row.wear_um.get(mechanism, 0.0)
            fig.add_bar(
                x=[frame.label(label) for label in sums],
                y=frame.trimmed(sums.values(), 4),
                yaxis=f"y{number}",
                name=mechanism.replace("_", " "),
                marker={"color": palette.cause(mechanism, index).colour},
                showlegend=panel == 0,
                hovertemplate="%{x}: %{y:.2f} µm<extra>" + mechanism.replace("_", " ") + "</extra>",
            )
    if not fig.data:
        return frame.say(fig, "no law to share the wear out by")
    fig.update_xaxes(anchor=f"y{len(components)}" if len(components) > 1 else "y", type="category", tickangle=30)
    return fig
