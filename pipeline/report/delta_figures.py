"""Figures of a change of method: mu by both, change over temperature, what each setting does alone, one stop by both."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import plotly.graph_objects as go
import polars as pl

from pipeline.report import frame, palette
from pipeline.results import read_table
from pipeline.results.delta import MovedStop
from pipeline.results.shares import ClassMove, Share, Shares

MOST_STOPS = 6000
#: line of the first method, of the second
FIRST_WINDOW = "rgba(90, 101, 110, 0.12)"
LINES = ({"color": palette.MUTED, "width": 2.2, "dash": "dash"}, {"color": palette.ACCENT, "width": 2.2})


def _thinned(delta: pl.DataFrame) -> pl.DataFrame:
    both = delta.filter(pl.col("mu_difference").is_not_null())
    return both if len(both) <= MOST_STOPS else both[frame.spread(range(len(both)), MOST_STOPS)]


def _points(fig: go.Figure, part: pl.DataFrame, x: str, y: str, unit: str = "") -> go.Figure:
    purposes = part["purpose"].fill_null("") if "purpose" in part.columns else pl.Series([""] * len(part))
    for name in [*palette.PURPOSES, ""]:
        own = part.filter(purposes == name)
        if own.is_empty():
            continue
        colour, symbol, _, words = palette.purpose(name)
        fig.add_scatter(
            x=frame.trimmed(own[x]),
            y=frame.trimmed(own[y]),
            mode="markers",
            name=words,
            marker={"color": colour, "symbol": symbol, "size": 6},
            **frame.named(
                ("test", "stop"),
                [[frame.label(t), s] for t, s in zip(own["test"], own["stop"], strict=True)],
                f"%{{test}}, stop %{{stop}}<br>%{{x:.4g}}, %{{y:.4g}}{unit}<extra></extra>",
            ),
        )
    return fig


def scatter(delta: pl.DataFrame) -> go.Figure:
    """mu by the second method against mu by the first."""
    part = _thinned(delta)
    fig = frame.figure(frame.axis("µ by the first method"), frame.axis("µ by the second method"), height=460)
    if part.is_empty():
        return frame.say(fig, "no stop has µ in both methods")
    values = part["mu_a"].to_list() + part["mu_b"].to_list()
    ends = [min(values), max(values)]
    fig.add_scatter(
        x=ends,
        y=ends,
        mode="lines",
        name="equal",
        line={"color": palette.MUTED, "dash": "dot", "width": 1.2},
        hoverinfo="skip",
    )
    return _points(fig, part, "mu_a", "mu_b")


def by_temperature(delta: pl.DataFrame, small: float) -> go.Figure:
    """Change of mu, per cent of the first method's, against initial temperature; `small`: the change that is small, relative."""
    fig = frame.figure(
        frame.axis("Disc temperature at stop start", "°C"),
        frame.axis("Change of µ", "%"),
        height=380,
    )
    if "temperature_initial_c" not in delta.columns:
        return frame.say(fig, "no temperatures in delta.parquet")
    part = _thinned(delta).filter(pl.col("temperature_initial_c").is_not_null(), pl.col("mu_a") != 0)
    if part.is_empty():
        return frame.say(fig, "no stop has µ in both methods")
    fig.add_hrect(y0=-100 * small, y1=100 * small, fillcolor=palette.BAND, line_width=0, layer="below")
    change = (100 * pl.col("mu_difference") / pl.col("mu_a")).alias("change")
    return _points(fig, part.with_columns(change), "temperature_initial_c", "change", " %")


def of_settings(shares: Shares, span: tuple[float, float]) -> go.Figure | None:
    """Mean change of mu by class of temperature under each setting alone, and under all; span: of the stops' temperatures (degC)."""
    if shares.together is None or not shares.together.classes:
        return None
    fig = frame.figure(
        frame.axis("Disc temperature at stop start", "°C"), frame.axis("Mean change of µ", "%"), height=340
    )
    for index, one in enumerate(shares.settings):
        look = palette.plain(index)
        x, y = _steps(one, span)
        line = {"color": look.colour, "width": 1.8, "dash": look.dash}
        fig.add_scatter(x=x, y=y, mode="lines", name=f"{frame.label(one.name)} alone", line=line)
    x, y = _steps(shares.together, span)
    fig.add_scatter(x=x, y=y, mode="lines", name="all together", line={"color": palette.ACCENT, "width": 3.4})
    fig.add_hline(y=0, line={"color": palette.MUTED, "width": 1})
    return fig


def _steps(share: Share, span: tuple[float, float]) -> tuple[list[float | None], list[float | None]]:
    x: list[float | None] = []
    y: list[float | None] = []
    for row in share.classes:
        low, high = ends(row, span)
        x += [low, high, None]
        y += [*frame.trimmed([100 * row.mean] * 2), None]
    return x, y


def ends(row: ClassMove, span: tuple[float, float]) -> tuple[float, float]:
    """Ends of a class on the drawing: those that are open at the stops' coldest and hottest."""
    low = row.low_c if row.low_c is not None else min(span[0], row.high_c or span[0])
    high = row.high_c if row.high_c is not None else max(span[1], row.low_c or span[1])
    return low, high


class Reduction(NamedTuple):
    """A stop by one method: its traces, evaluation window (s from brake start) and mu."""

    traces: pl.DataFrame
    window: tuple[float | None, float | None]
    mu: float


def reductions(results: Path, methods: tuple[str, str], moved: MovedStop) -> tuple[Reduction, Reduction] | None:
    """The stop by both methods, from their results; None where one is not there."""
    found = []
    for method, stop, mu in zip(methods, (moved.stop_a, moved.stop_b), (moved.mu_a, moved.mu_b), strict=True):
        place = results / method / "tests" / moved.test
        if stop is None or not all((place / name).is_file() for name in ("traces.parquet", "stops.parquet")):
            return None
        traces = read_table(place / "traces.parquet").filter(pl.col("stop") == stop)
        row = read_table(place / "stops.parquet").filter(pl.col("stop") == stop)
        if traces.is_empty() or row.is_empty():
            return None
        window = row["window_start_s"][0], row["window_end_s"][0]
        found.append(Reduction(traces, window, mu))
    return found[0], found[1]


def one_stop(both: tuple[Reduction, Reduction], names: tuple[str, str]) -> go.Figure:
    """A stop by both methods over one another: mu inside its evaluation window with the mean, and pressure; windows shaded."""
    words = [frame.label(name) for name in names]
    fig = frame.figure(
        frame.axis("Time from brake start", "s", anchor="y2"),
        frame.axis("µ", domain=[0.42, 1.0], anchor="x"),
        height=320,
        margin={"l": 80, "r": 30, "t": 40, "b": 52},
    )
    fig.update_layout(yaxis2=frame.axis("Pressure", "bar", domain=[0.0, 0.34], anchor="x"))
    for one, name, line in zip(both, words, LINES, strict=True):
        time = frame.trimmed(one.traces["time_s"])
        fig.add_scatter(x=time, y=frame.trimmed(one.traces["mu"]), mode="lines", name=f"µ, {name}", line=line)
        start, end = one.window
        if start is not None and end is not None:
            mean = {**line, "width": 1.1}
            level = frame.trimmed([one.mu, one.mu])
            fig.add_scatter(x=frame.trimmed([start, end]), y=level, mode="lines", showlegend=False, line=mean)
            fill = palette.TOLERANCE if line is LINES[1] else FIRST_WINDOW
            fig.add_vrect(x0=start, x1=end, fillcolor=fill, line_width=0, layer="below")
        pressure = frame.trimmed(one.traces["pressure_bar"])
        fig.add_scatter(x=time, y=pressure, mode="lines", yaxis="y2", showlegend=False, line=line)
    return fig
