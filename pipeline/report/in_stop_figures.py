"""Figures within the stops: µ against time and temperature, the curves of single stops."""

from typing import Any

import plotly.graph_objects as go
import polars as pl

from pipeline.report import frame, palette
from pipeline.report.stop_figures import MU, only_stops


def shown_stops(stops: pl.DataFrame, traces: pl.DataFrame, most: int = 100) -> list[int]:
    """Stops whose traces the overview draws: all, or an even choice within each block when there are more."""
    have = set(traces["stop"].unique().to_list())
    numbers = [s for s in stops["stop"].to_list() if s in have]
    if len(numbers) <= most:
        return numbers
    kept: list[int] = []
    for _, group in stops.filter(pl.col("stop").is_in(numbers)).group_by("block", maintain_order=True):
        kept += frame.spread(group["stop"].to_list(), max(2, round(most * len(group) / len(numbers))))
    return sorted(kept)


def in_stop(stops: pl.DataFrame, traces: pl.DataFrame, against: str, chosen: list[int]) -> go.Figure:
    """mu inside the stops against `time_s` or `disc_temperature_c`, one line a stop, coloured by purpose."""
    x_axis = (
        frame.axis("Time from brake start", "s")
        if against == "time_s"
        else frame.axis("Disc temperature in the stop", "°C")
    )
    fig = frame.figure(x_axis, frame.axis(MU, "", rangemode="tozero"), height=440)
    inside = traces.filter(pl.col("mu").is_not_null() & pl.col("stop").is_in(chosen))
    if inside.is_empty():
        return frame.say(fig, "no traces")
    purpose_of = dict(zip(stops["stop"], stops["purpose"], strict=True))
    lines: dict[str, tuple[list[Any], list[Any], list[Any]]] = {}
    for (stop,), group in inside.group_by(["stop"], maintain_order=True):
        x, y, custom = lines.setdefault(purpose_of.get(stop) or "", ([], [], []))
        x += [*frame.trimmed(group[against], 4), None]
        y += [*frame.trimmed(group["mu"], 4), None]
        custom += [stop] * (len(group) + 1)
    for name in [p for p in dict.fromkeys((*palette.PURPOSES, *sorted(lines))) if p in lines]:
        x, y, custom = lines[name]
        colour, _, _, words = palette.purpose(name)
        unit = "s" if against == "time_s" else "°C"
        fig.add_scatter(
            x=x,
            y=y,
            mode="lines",
            name=words,
            line={"color": colour, "width": 1.1},
            opacity=0.75,
            **only_stops(custom, "stop %{stop}: µ %{y:.3f} at %{x} " + unit + "<extra></extra>"),
        )
    return fig
