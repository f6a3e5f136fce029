"""The drift chart: one look tells the story.

Five panels over the same stop axis: friction residuals with the blocks behind them and the onset interval across; the
chart's statistics over their limits; the energy ratio (does the torque chain move too?); power density and temperature
(was it an exposure?).
"""

from typing import Any

import plotly.graph_objects as go
import polars as pl

from pipeline.report import frame, order_figures, palette, stop_figures
from pipeline.results.drift import Charts, TestDrift

PANELS = (("y", 0.70, 1.00), ("y2", 0.50, 0.66), ("y3", 0.34, 0.46), ("y4", 0.17, 0.30), ("y5", 0.00, 0.13))


def drift_chart(stops: pl.DataFrame, drift: TestDrift) -> go.Figure:
    """Residuals, statistics over their limits, energy ratio, power density, initial temperature against the stop
    number.

    The arrays come from drift.json's `charts` (residual, use, cusum, ewma, onset) and from the stops table; a chart
    that the stage could not draw leaves its panel empty with the reason in it.
    """
    charts = drift.charts
    fig = frame.figure(
        frame.axis("Stop, in the order run", "number", anchor="y5"),
        frame.axis("Residual of µ", "%"),
        height=880,
        margin={"l": 80, "r": 48, "t": 90, "b": 60},
        legend={"orientation": "h", "y": -0.07, "yanchor": "top", "x": 0},
    )
    if stops.is_empty():
        return frame.say(fig, "no stops")
    titles = (
        "Residual of µ<br>(% of the level)",
        "Statistic over<br>its limit (1)",
        "Energy<br>ratio (1)",
        "Power density<br>(W/mm² of pad)",
        "Temperature<br>at start (°C)",
    )
    for (name, low, high), title in zip(PANELS, titles, strict=True):
        key = "yaxis" + name.removeprefix("y")
        panel = {"domain": [low, high], "anchor": "x", "title": {"text": title, "font": {"size": 11.5}}}
        fig.update_layout({key: {**frame.axis(title), **panel}})
    order_figures.shade_blocks(fig, stops)
    _onset(fig, drift)
    _level(fig, "y", 0.0)
    if charts is not None:
        _residuals(fig, charts)
        _statistics(fig, charts)
    for axis, column, name in (
        ("y3", "energy_ratio", "energy ratio"),
        ("y4", "power_density_w_mm2", "power density"),
        ("y5", "temperature_initial_c", "temperature at start"),
    ):
        part = stops.filter(pl.col(column).is_not_null())
        fig.add_scatter(
            x=part["stop"].to_list(),
            y=frame.trimmed(part[column]),
            yaxis=axis,
            mode="markers",
            name=name,
            showlegend=False,
            marker={"size": 4.5, "color": [palette.purpose(p)[0] for p in part["purpose"]]},
            **stop_figures.only_stops(part["stop"].to_list(), "stop %{stop}: " + name + " %{y:.4g}<extra></extra>"),
        )
    _level(fig, "y3", 1.0)
    if charts is None:
        fig.add_annotation(
            text=frame.label(drift.charts_reason or "no chart was drawn"),
            x=0.5,
            y=0.85,
            xref="paper",
            yref="paper",
            showarrow=False,
            font={"size": 13, "color": palette.MUTED},
        )
    numbers = stops["stop"].to_list()
    fig.update_xaxes(range=[min(numbers) - 1, max(numbers) + 1])
    return fig


def _level(fig: go.Figure, axis: str, value: float, **line: Any) -> None:
    fig.add_shape(
        type="line",
        xref="paper",
        x0=0,
        x1=1,
        yref=axis,
        y0=value,
        y1=value,
        line={"color": palette.MUTED, "width": 1, **line},
    )


def _onset(fig: go.Figure, drift: TestDrift) -> None:
    onset, low, high = drift.onset_stop, drift.onset_low, drift.onset_high
    if onset is None:
        return
    if low is not None and high is not None:
        fig.add_shape(
            type="rect",
            xref="x",
            yref="paper",
            x0=low - 0.5,
            x1=high + 0.5,
            y0=0,
            y1=1,
            fillcolor=palette.ONSET,
            line={"width": 0},
        )
    fig.add_shape(
        type="line", xref="x", yref="paper", x0=onset, x1=onset, y0=0, y1=1, line={"color": palette.ALARM, "width": 2}
    )
    between = f" ({low} to {high})" if low is not None and high is not None else ""
    fig.add_annotation(
        x=onset,
        y=0.985,
        yref="paper",
        text=f"onset: stop {onset}{between}",
        showarrow=False,
        xanchor="left",
        yanchor="top",
        xshift=5,
        bgcolor="rgba(255,255,255,0.85)",
        font={"size": 12, "color": palette.ALARM},
    )


def _residuals(fig: go.Figure, charts: Charts) -> None:
    """Checks against the bedded map, and stops of use against the start of their own group, both as per cent of µ."""
    use, watched = charts.use, charts.residual
    for chart, purposes, faint in ((use, ["duty"] * len(use.stop), True), (watched, watched.purpose, False)):
        rows = [r for r in zip(chart.stop, chart.share, purposes, strict=True) if r[1] is not None]
        for name in palette.PURPOSES:
            part = [(stop, 100 * share) for stop, share, purpose in rows if purpose == name and share is not None]
            if not part:
                continue
            colour, symbol, _, words = palette.purpose(name)
            said = f"{words} (about its own start)" if faint else words
            fig.add_scatter(
                x=[s for s, _ in part],
                y=frame.trimmed([r for _, r in part], 4),
                mode="markers",
                name=said,
                opacity=0.55 if faint else 1.0,
                marker={"color": colour, "symbol": symbol, "size": 5 if faint else 8},
                **stop_figures.only_stops([s for s, _ in part], "stop %{stop}: residual %{y:+.2f} %<extra></extra>"),
            )


def _statistics(fig: go.Figure, charts: Charts) -> None:
    """Cumulative sums and weighted average, each over its own limit, so that 1 is an alarm for all of them."""
    cusum, ewma = charts.cusum, charts.ewma
    shown = (
        (cusum.stop, cusum.fall, cusum.limit, "cumulative sum, fall"),
        (cusum.stop, cusum.rise, cusum.limit, "cumulative sum, rise"),
        (ewma.stop, ewma.value, ewma.limit, "weighted average"),
    )
    for index, (stops, values, limit, name) in enumerate(shown):
        if not limit or not values:
            continue
        part = [(stop, abs(v) / limit, v) for stop, v in zip(stops, values, strict=True) if v is not None]
        fig.add_scatter(
            x=[s for s, _, _ in part],
            y=frame.trimmed([r for _, r, _ in part], 4),
            yaxis="y2",
            mode="lines+markers",
            name=f"{name} (limit {limit:.2f})",
            line={"color": palette.plain(index).colour, "width": 1.6, "dash": palette.plain(index).dash},
            marker={"size": 4},
            **frame.named(
                ("stop", "statistic"),
                [[s, v] for s, _, v in part],
                "stop %{stop}: %{statistic:.2f} of " + f"{limit:.2f}<extra>{name}</extra>",
            ),
        )
    if cusum.limit or ewma.limit:
        _level(fig, "y2", 1.0, color=palette.ALARM, dash="dash", width=1.5)
