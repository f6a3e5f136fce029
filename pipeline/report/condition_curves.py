"""Friction along one condition, the others at the reference: a cut through the surfaces of friction.json, with its band.

A surface holds µ and its standard uncertainty over a grid of two conditions at the reference values of all others. The cut at
the reference value y0 of the second condition is read between the grid's two neighbouring lines,
µ(x) = (1 - w) µ_j(x) + w µ_{j+1}(x) with w = (y0 - y_j) / (y_{j+1} - y_j), and u(x) alike; where either is not supported by data
there is none. Nothing is fitted here.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import plotly.graph_objects as go

from pipeline.report import palette
from pipeline.results.friction import OfMap
from pipeline.results.friction_map import Surface

COVERAGE = 2.0  # times the standard uncertainty; about 95 % (JCGM 100:2008, 6.3.3)
BAND = "curve, the other conditions at the reference (± twice its standard uncertainty)"
#: column of stops.parquet -> the condition in a surface, and that which is held at the reference
ALONG = {
    "energy_density_j_mm2": ("energy_density_j_mm2", "temperature_c"),
    "pressure_bar": ("pressure_bar", "speed_rpm"),
    "speed_start_rpm": ("speed_rpm", "pressure_bar"),
}


class Cut(NamedTuple):
    """Unbroken stretches of (condition, µ, lower, upper end) along a condition."""

    stretches: list[list[tuple[float, float, float, float]]]


def cut(friction: OfMap, column: str) -> Cut | None:
    """µ along the condition of a column of stops.parquet; None where no surface has it, or the reference lies off its grid."""
    along, held = ALONG[column]
    surface = next((one for one in friction.surfaces if {one.x, one.y} == {along, held}), None)
    reference = getattr(friction.reference, held, None)
    if surface is None or reference is None:
        return None
    x, mu, u = _at(surface, along, reference)
    parts: list[list[tuple[float, float, float, float]]] = [[]]
    for place, value, spread in zip(x, mu, u, strict=True):
        if np.isfinite(value) and np.isfinite(spread):
            parts[-1].append(
                (float(place), float(value), float(value - COVERAGE * spread), float(value + COVERAGE * spread))
            )
        elif parts[-1]:
            parts.append([])
    kept = [part for part in parts if len(part) > 1]
    return Cut(kept) if kept else None


def _at(surface: Surface, along: str, reference: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Grid of the condition, µ and u along it at the reference of the other; each (n,), not a number where not supported."""
    grids = [np.array(rows, dtype=float) for rows in (surface.mu, surface.u)]  # rows of y; null is not a number
    x, y = np.array(surface.x_values), np.array(surface.y_values)
    if surface.y == along:
        x, y, grids = y, x, [grid.T for grid in grids]
    if not len(y) or not y[0] <= reference <= y[-1]:
        return x, np.full(len(x), np.nan), np.full(len(x), np.nan)
    after = int(np.clip(np.searchsorted(y, reference), 1, len(y) - 1))
    share = (reference - y[after - 1]) / (y[after] - y[after - 1])
    if share in (0.0, 1.0):  # on a line of the grid: its neighbour need not be supported there
        mu, u = (grid[after - 1 + int(share)] for grid in grids)
    else:
        mu, u = ((1 - share) * grid[after - 1] + share * grid[after] for grid in grids)
    return x, mu, u


def add(fig: go.Figure, friction: OfMap, column: str) -> None:
    """The curve with its band; nothing where there is none."""
    found = cut(friction, column)
    for part in found.stretches if found else ():
        x = [one[0] for one in part]
        for end, fill in ((3, None), (2, "tonexty")):
            fig.add_scatter(
                x=x,
                y=[one[end] for one in part],
                mode="lines",
                line={"width": 0},
                fill=fill,
                fillcolor=palette.BAND,
                showlegend=False,
                hoverinfo="skip",
            )
        fig.add_scatter(
            x=x,
            y=[one[1] for one in part],
            mode="lines",
            name=BAND,
            showlegend=False,
            line={"color": palette.ACCENT, "width": 2},
            hovertemplate="%{x:.4g}: µ %{y:.3f}<extra>curve</extra>",
        )


def add_target(fig: go.Figure, friction: OfMap, words: str = "") -> None:
    """The target band of µ, or that about the plateau, behind everything."""
    if friction.wanted_mu is None:
        return
    low, high = friction.wanted_mu
    note = {
        "annotation": {"text": words, "font": {"size": 11, "color": palette.MUTED}},
        "annotation_position": "top left",
    }
    fig.add_hrect(y0=low, y1=high, fillcolor=palette.WANTED, line_width=0, layer="below", **(note if words else {}))
