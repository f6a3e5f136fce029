"""The drift chart: one look tells the story.

Five panels over the same stop axis: friction residuals with the blocks behind them and the onset interval across; the
chart's statistic with its limits; the energy ratio (does the torque chain move too?); power density and temperature
(was it an exposure?).
"""

from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go
import polars as pl

from pipeline.report import frame, palette, stop_figures

PANELS = (("y", 0.70, 1.00), ("y2", 0.50, 0.66), ("y3", 0.34, 0.46), ("y4", 0.17, 0.30), ("y5", 0.00, 0.13))


def drift_chart(stops: pl.DataFrame, drift: Mapping[str, Any]) -> go.Figure:
    """Residuals, statistic and limits, energy ratio, power density, initial temperature against the stop number.

    `drift["chart"]`: {"stop", "residual", "statistic" or {"name": values}, "limit_low", "limit_high"}; the panels that have
    nothing to show say so by being empty, the rest stay.
    """
    fig = frame.figure(
        frame.axis("Stop, in the order run", "number", anchor="y5"), frame.axis("Residual of µ", ""), height=860,
        margin={"l": 80, "r": 48, "t": 90, "b": 60}, legend={"orientation": "h", "y": -0.07, "yanchor": "top", "x": 0},
    )  # fmt: skip
    if stops.is_empty():
        return frame.say(fig, "no stops")
    titles = (
        "Residual of µ",
        "Chart statistic<br>(standard<br>deviations)",
        "Energy<br>ratio",
        "Power density<br>(W/mm² of pad)",
        "Temperature<br>at start (°C)",
    )
    for (name, low, high), title in zip(PANELS, titles, strict=True):
        key = "yaxis" + name.removeprefix("y")
        fig.update_layout(
            {
                key: {
                    **frame.axis(title),
                    "domain": [low, high],
                    "anchor": "x",
                    "title": {"text": title, "font": {"size": 11.5}},
                }
            }
        )
    stop_figures.shade_blocks(fig, stops)
    _onset(fig, drift)
    _residuals(fig, stops, drift.get("chart") or {})
    _statistic(fig, drift.get("chart") or {})
    for axis, column, name in (("y3", "energy_ratio", "energy ratio"), ("y4", "power_density_w_mm2", "power density"),
                               ("y5", "temperature_initial_c", "temperature at start")):  # fmt: skip
        part = stops.filter(pl.col(column).is_not_null())
        fig.add_scatter(x=part["stop"].to_list(), y=frame.trimmed(part[column]), yaxis=axis, mode="markers", name=name, showlegend=False,
                        marker={"size": 4.5, "color": [palette.purpose(p)[0] for p in part["purpose"]]},
                        hovertemplate="stop %{x}: " + name + " %{y:.4g}<extra></extra>")  # fmt: skip
    _level(fig, "y3", 1.0)
    fig.update_xaxes(range=[stops["stop"].min() - 1, stops["stop"].max() + 1])
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


def _onset(fig: go.Figure, drift: Mapping[str, Any]) -> None:
    onset, low, high = drift.get("onset_stop"), drift.get("onset_low"), drift.get("onset_high")
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
    fig.add_annotation(x=onset, y=0.985, yref="paper", text=f"onset: stop {onset}{between}", showarrow=False, xanchor="left", yanchor="top",
                       xshift=5, bgcolor="rgba(255,255,255,0.85)", font={"size": 12, "color": palette.ALARM})  # fmt: skip


def _residuals(fig: go.Figure, stops: pl.DataFrame, chart: Mapping[str, Any]) -> None:
    purpose_of = dict(zip(stops["stop"], stops["purpose"], strict=True))
    rows = [(s, r) for s, r in zip(chart.get("stop") or [], chart.get("residual") or [], strict=True) if r is not None]
    _level(fig, "y", 0.0)
    for name in palette.PURPOSES:
        part = [(s, r) for s, r in rows if purpose_of.get(s) == name]
        if not part:
            continue
        colour, symbol, _, words = palette.purpose(name)
        fig.add_scatter(x=[s for s, _ in part], y=frame.trimmed([r for _, r in part]), mode="markers", name=words,
                        marker={"color": colour, "symbol": symbol, "size": 7}, hovertemplate="stop %{x}: residual %{y:+.4f}<extra></extra>")  # fmt: skip


def _statistic(fig: go.Figure, chart: Mapping[str, Any]) -> None:
    statistics = chart.get("statistic") or {}
    if not isinstance(statistics, Mapping):
        statistics = {"statistic": statistics}
    for index, (name, values) in enumerate(statistics.items()):
        fig.add_scatter(x=list(chart.get("stop") or []), y=frame.trimmed(v if v is not None else float("nan") for v in values), yaxis="y2", mode="lines+markers",
                        name=frame.label(name.replace("_", " ")), line={"color": palette.series(index)[0], "width": 1.6}, marker={"size": 4},
                        hovertemplate="stop %{x}: %{y:.2f}<extra>" + frame.label(name) + "</extra>")  # fmt: skip
    for key in ("limit_low", "limit_high", "limit"):
        if chart.get(key) is not None:
            _level(fig, "y2", chart[key], color=palette.ALARM, dash="dash", width=1.5)
