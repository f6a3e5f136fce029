"""Control charts as figures: the values with their limits, and below them the weighted average with its own."""

from __future__ import annotations

import math

import plotly.graph_objects as go

from pipeline.report import frame, palette
from pipeline.results.charts import Chart, Charted, ChartPoint
from pipeline.results.rigs import Event

AXES: dict[Charted, str] = {
    "mu": "Friction",
    "bite": "Bite",
    "wear": "Wear",
    "energy_ratio": "Energy ratio",
    "torque_zero": "Torque zero",
    "pressure_zero": "Pressure zero",
    "lag": "Lag of torque",
}
LOGARITHMIC = ("mu", "bite", "wear")


def chart_figure(chart: Chart, events: list[Event], *, of_batches: bool = False) -> go.Figure:
    """One chart over dates. Friction, bite and wear are shown as departures from the level learnt before, in per cent."""
    relative = chart.quantity in LOGARITHMIC
    title = f"{AXES[chart.quantity]}, departure" if relative else AXES[chart.quantity]
    unit = "%" if relative else "" if chart.unit == "1" else {"s": "ms"}.get(chart.unit, chart.unit)
    fig = frame.figure(
        frame.axis("Date of the batch's first test" if of_batches else "Date of the test", anchor="y2", type="date"),
        frame.axis(title, unit, domain=[0.42, 1.0], anchor="x"),
        height=450,
        yaxis2={**frame.axis("Average<br>(sd)"), "domain": [0.0, 0.3], "anchor": "x"},
        margin={"l": 84, "r": 48, "t": 64, "b": 56},
    )
    if not chart.points:
        return frame.say(fig, "no test has a value")
    _limits(fig, chart, relative)
    _values(fig, chart, relative, "batches" if of_batches else "tests")
    _average(fig, chart)
    _events(fig, chart, events)
    _range(fig, chart, relative)
    return fig


def shown(chart_quantity: Charted, value: float | None, centre: float | None, relative: bool) -> float | None:
    """A value as the figure has it: per cent from its centre, milliseconds, or as it is."""
    if value is None:
        return None
    if relative:
        return 100 * math.expm1(value - centre) if centre is not None else 0.0
    return 1000 * value if chart_quantity == "lag" else value


def _values(fig: go.Figure, chart: Chart, relative: bool, alone: str) -> None:
    """A trace for each group, so that batches are told apart; what is not judged yet is hollow."""
    for index, group in enumerate(dict.fromkeys(p.group for p in chart.points)):
        own = [p for p in chart.points if p.group == group]
        colour, symbol, *_ = palette.batch(index)
        colours = [palette.ALARM if p.signals else colour for p in own]
        fig.add_scatter(
            x=[p.date for p in own],
            y=[shown(chart.quantity, p.value, p.centre, relative) for p in own],
            mode="markers",
            name=frame.label(group or alone),
            marker={
                "symbol": [symbol if p.z is not None else f"{symbol}-open" for p in own],
                "color": colours,
                "size": [13 if p.signals else 9 for p in own],
                "line": {"width": 1.5, "color": colours},
            },
            **frame.named(
                ["name", "said"], [[p.name, said(p)] for p in own], "%{name}: %{y:.4g}<br>%{said}<extra></extra>"
            ),
        )


def said(point: ChartPoint) -> str:
    """What the chart says of the value."""
    if point.centre is None:
        return "first of its level: nothing to hold it against"
    if point.z is None:
        return "the scatter is not known yet"
    words = [f"{point.z:+.1f} standard deviations"]
    words += ["beyond the limits of a single value"] if point.signals else []
    words += ["the average is beyond its limit"] if point.alarm else []
    return ", ".join(words)


def _limits(fig: go.Figure, chart: Chart, relative: bool) -> None:
    for key, name in (("low", "limits of a single value"), ("high", "")):
        fig.add_scatter(
            x=[p.date for p in chart.points],
            y=[shown(chart.quantity, getattr(p, key), p.centre, relative) for p in chart.points],
            mode="lines+markers",
            name=name,
            showlegend=bool(name),
            hoverinfo="skip",
            line={"color": palette.ALARM, "width": 1.2, "dash": "dot", "shape": "hvh"},
            marker={"symbol": "line-ew-open", "size": 12, "color": palette.ALARM, "line": {"width": 1.4}},
        )
    fig.add_scatter(
        x=[p.date for p in chart.points],
        y=[shown(chart.quantity, p.centre, p.centre, relative) for p in chart.points],
        mode="lines",
        name="level learnt before",
        hoverinfo="skip",
        line={"color": palette.MUTED, "width": 1, "shape": "hvh"},
    )


def _average(fig: go.Figure, chart: Chart) -> None:
    judged = [p for p in chart.points if p.average is not None]
    for sign in (-1, 1):
        fig.add_hline(
            y=sign * chart.average_limit, yref="y2", line={"color": palette.ALARM, "width": 1.2, "dash": "dot"}
        )
    fig.add_hline(y=0.0, yref="y2", line={"color": palette.MUTED, "width": 1})
    fig.add_scatter(
        x=[p.date for p in judged],
        y=frame.trimmed(p.average for p in judged),
        yaxis="y2",
        mode="lines+markers",
        name="weighted average",
        marker={
            "size": [12 if p.alarm else 6 for p in judged],
            "color": [palette.ALARM if p.alarm else palette.ACCENT for p in judged],
        },
        line={"color": palette.ACCENT, "width": 1.6},
        **frame.named(["name"], [p.name for p in judged], "%{name}: average %{y:.2f}<extra></extra>"),
    )
    reach = max([1.15 * chart.average_limit, *(1.1 * abs(p.average or 0.0) for p in judged)])
    fig.update_layout(yaxis2={"range": [-reach, reach]})


def _events(fig: go.Figure, chart: Chart, events: list[Event]) -> None:
    """Dated events, and where a level was left: a line through both panels, with its name above."""
    marks = [(e.date, e.what, palette.MUTED) for e in events]
    marks += [(w.onset_date, "level left", palette.ALARM) for w in chart.wanders]
    for date, text, colour in marks:
        fig.add_shape(
            type="line",
            x0=date,
            x1=date,
            y0=0,
            y1=1,
            yref="paper",
            line={"color": colour, "width": 1.4, "dash": "dash"},
        )
        fig.add_annotation(
            x=date, y=1.0, yref="paper", yanchor="bottom", text=frame.label(f"{text} {date}"), showarrow=False,
            font={"size": 11, "color": colour},
        )  # fmt: skip
    if marks:
        fig.update_layout(legend={"y": 1.09})


def _range(fig: go.Figure, chart: Chart, relative: bool) -> None:
    """Limits from two or three values lie far out: they must not press the values flat."""
    points = [y for p in chart.points if (y := shown(chart.quantity, p.value, p.centre, relative)) is not None]
    last = [p for p in chart.points if p.high is not None][-1:]
    ends = [shown(chart.quantity, end, p.centre, relative) for p in last for end in (p.low, p.high)]
    known = [*points, *(e for e in ends if e is not None)]
    low, high = min(known), max(known)
    room = 0.15 * (high - low) or 0.1 * abs(high) or 1.0
    fig.update_yaxes(range=[low - room, high + room], selector=0)
