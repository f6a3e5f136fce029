"""Figures over the order run: friction and energy ratio of the stops, the blocks shaded behind them."""

import plotly.graph_objects as go
import polars as pl

from pipeline.report import frame, palette
from pipeline.report.stop_figures import MU, MapStops, add_stop_points, of_stops, only_stops


def shade_blocks(fig: go.Figure, stops: pl.DataFrame) -> None:
    """Background of blocks in time order (x = stop number), with names where there is room for them.

    Neighbouring blocks of one purpose share a shade. All shapes are set at once: adding them one by one costs the
    square of their number.
    """
    numbers = stops["stop"].to_list()
    names = stops["block"].fill_null("no block").to_list()
    purposes = dict(zip(names, stops["purpose"], strict=True))
    shades = frame.blocks_of([purposes[name] or "none" for name in names], numbers)
    shapes = [
        {
            "type": "rect",
            "xref": "x",
            "yref": "paper",
            "x0": first - 0.5,
            "x1": last + 0.5,
            "y0": 0,
            "y1": 1,
            "line": {"width": 0},
            "fillcolor": palette.purpose(purpose)[0],
            "opacity": 0.14,
            "layer": "below",
        }
        for purpose, first, last in shades
    ]
    room = 0.02 * len(stops)
    notes = [
        {
            "x": (first + last) / 2,
            "y": 1.0,
            "yref": "paper",
            "yanchor": "bottom",
            "text": frame.label(name[:22]),
            "showarrow": False,
            "textangle": -38,
            "xanchor": "left",
            "font": {"size": 10, "color": palette.MUTED},
        }
        for name, first, last in frame.blocks_of(names, numbers)
        if last - first + 1 >= room
    ]
    fig.update_layout(shapes=shapes, annotations=notes)


def time_order(stops: pl.DataFrame, of_map: MapStops | None = None) -> go.Figure:
    """mu in the order run, with each stop's range (2nd to 98th percentile) and bite, over the blocks."""
    fig = frame.figure(
        frame.axis("Stop, in the order run", "number"),
        frame.axis(MU, "", rangemode="tozero"),
        height=520,
        margin={"l": 70, "r": 48, "t": 90, "b": 100},
        legend={"orientation": "h", "y": -0.18, "yanchor": "top", "x": 0},
    )
    if stops.is_empty():
        return frame.say(fig, "no stops")
    shade_blocks(fig, stops)
    ranged = stops.filter(pl.col("mu_min").is_not_null() & pl.col("mu_max").is_not_null())
    if not ranged.is_empty():
        x = [v for stop in ranged["stop"] for v in (stop, stop, None)]
        y = [
            v
            for low, high in zip(frame.trimmed(ranged["mu_min"]), frame.trimmed(ranged["mu_max"]), strict=True)
            for v in (low, high, None)
        ]
        fig.add_scatter(
            x=x,
            y=y,
            mode="lines",
            name="2nd to 98th percentile in the stop",
            hoverinfo="skip",
            line={"color": palette.EDGE, "width": 1},
        )
    bite = stops.filter(pl.col("mu_bite").is_not_null())
    if not bite.is_empty():
        fig.add_scatter(
            x=bite["stop"].to_list(),
            y=frame.trimmed(bite["mu_bite"]),
            mode="markers",
            name="bite (first half second)",
            marker={"symbol": "line-ew-open", "size": 8, "color": palette.ALARM, "line": {"width": 1.6}},
            **only_stops(bite["stop"].to_list(), "stop %{stop}: bite %{y:.3f}<extra></extra>"),
        )
    add_stop_points(fig, stops.with_columns(pl.col("stop").cast(pl.Float64).alias("_order")), "_order", of_map=of_map)
    rejected = stops.filter(pl.col("status") == "rejected")
    if not rejected.is_empty():
        fig.add_scatter(
            x=rejected["stop"].to_list(),
            y=[0.0] * len(rejected),
            mode="markers",
            name="rejected (no µ, energy kept)",
            cliponaxis=False,
            marker={"symbol": "x-thin-open", "size": 9, "color": palette.ALARM, "line": {"width": 2}},
            **only_stops(rejected["stop"].to_list(), "stop %{stop}: rejected<extra></extra>"),
        )
    return fig


def energy_balance(stops: pl.DataFrame) -> go.Figure:
    """Energy ratio of every stop in the order run; 1 is a healthy rig."""
    fig = frame.figure(
        frame.axis("Stop, in the order run", "number"), frame.axis("Energy ratio, friction / kinetic", ""), height=300
    )
    part = stops.filter(pl.col("energy_ratio").is_not_null())
    if part.is_empty():
        return frame.say(
            fig, "no stop has an energy ratio (drags have none; a simulated inertia needs the drive's torque)"
        )
    fig.add_hline(y=1.0, line={"color": palette.INK, "width": 1})
    fig.add_scatter(
        x=part["stop"].to_list(),
        y=frame.trimmed(part["energy_ratio"]),
        mode="markers",
        name="stops",
        **of_stops(part, "stop %{stop}: ratio %{y:.4f}<extra></extra>"),
        marker={"color": palette.ACCENT, "size": 6},
    )
    ratios = part["energy_ratio"].to_numpy()
    low, high = float(ratios.min()), float(ratios.max())
    fig.update_yaxes(range=[min(low - 0.005, 0.97), max(high + 0.005, 1.03)])
    fig.update_layout(showlegend=False)
    return fig
