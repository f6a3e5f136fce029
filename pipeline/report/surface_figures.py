"""Friction as a surface over two conditions, as a heat map with contour lines, the stops on top, and nothing outside
the data; veiled where twice the standard uncertainty is more than `VEILED` of mu.

A heat map rather than a solid surface: values can be read off, it prints, and the unsupported region stays blank.
"""

import plotly.graph_objects as go
import polars as pl

from pipeline.report import frame, palette
from pipeline.report.stop_figures import of_stops
from pipeline.results.friction import OfMap
from pipeline.results.friction_map import Surface

VEILED = 0.04
SURE = 2.0  # times the standard uncertainty; about 95 % (JCGM 100:2008, 6.3.3)
VEIL = "rgba(255, 255, 255, 0.62)"
CONDITIONS = {
    "temperature_c": ("Disc temperature", "°C", "temperature_initial_c"),
    "energy_density_j_mm2": ("Energy density, of pad area", "J/mm²", "energy_density_j_mm2"),
    "pressure_bar": ("Pressure", "bar", "pressure_bar"),
    "speed_rpm": ("Speed at start", "rpm", "speed_start_rpm"),
}


def surfaces(friction: OfMap, stops: pl.DataFrame) -> list[tuple[str, go.Figure]]:
    """One (title, figure) for each surface of friction.json."""
    found = []
    for surface in friction.surfaces:
        x, y = CONDITIONS.get(surface.x), CONDITIONS.get(surface.y)
        if x is None or y is None:
            continue
        title = f"{x[0]} and {y[0][0].lower()}{y[0][1:]}"
        found.append((title, surface_map(surface, stops, x, y)))
    return found


def surface_map(surface: Surface, stops: pl.DataFrame, x: tuple[str, str, str], y: tuple[str, str, str]) -> go.Figure:
    """Heat map with contours of mu over two conditions; blank where the data do not support it, veiled where it is less sure than
    elsewhere; stops as points."""
    fig = frame.figure(frame.axis(x[0], x[1]), frame.axis(y[0], y[1]), height=430, showlegend=False)
    fig.add_contour(
        x=surface.x_values,
        y=surface.y_values,
        z=surface.mu,
        colorscale=palette.HEAT,
        connectgaps=False,
        contours={"coloring": "heatmap", "showlabels": True, "labelfont": {"size": 11, "color": palette.INK}},
        line={"width": 0.8, "color": "rgba(34,40,46,0.55)"},
        colorbar={"title": {"text": "µ", "side": "top"}, "thickness": 14, "len": 0.62, "y": 0, "yanchor": "bottom"},
        text=[["" if one is None else f"± {SURE * one:.3f}" for one in row] for row in surface.u],
        hovertemplate=f"%{{x:.3g}} {x[1]}, %{{y:.3g}} {y[1]}: µ %{{z:.3f}} %{{text}}<extra>map</extra>",
    )
    _veil(fig, surface)
    part = stops.filter(
        (pl.col("status") == "ok")
        & pl.col("purpose").is_in(["map", "check"])
        & pl.col("mu").is_not_null()
        & pl.col(x[2]).is_not_null()
        & pl.col(y[2]).is_not_null()
    )
    if not part.is_empty():
        fig.add_scatter(
            x=frame.trimmed(part[x[2]]),
            y=frame.trimmed(part[y[2]]),
            mode="markers",
            name="stops",
            **of_stops(part),
            marker={"size": 6, "color": "rgba(255,255,255,0.85)", "line": {"width": 1, "color": palette.INK}},
        )
    return fig


def _veil(fig: go.Figure, surface: Surface) -> None:
    """Cells whose mu is less sure, paled; nothing where all are sure."""
    unsure = [
        [1.0 if mu and u and SURE * u > VEILED * mu else None for mu, u in zip(*rows, strict=True)]
        for rows in zip(surface.mu, surface.u, strict=True)
    ]
    if any(cell for row in unsure for cell in row):
        fig.add_heatmap(
            x=surface.x_values,
            y=surface.y_values,
            z=unsure,
            colorscale=[[0.0, VEIL], [1.0, VEIL]],
            showscale=False,
            hoverinfo="skip",
        )
