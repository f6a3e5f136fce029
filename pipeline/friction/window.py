"""The window: the widest unbroken temperature range whose tolerance band lies inside the target band of mu.

Ends lie where the band's edge crosses the wanted limit (linear between grid points) or where the data end.
The interval of an end that the band limits is where the edge that truly holds the coverage crosses: curve and
scatter are drawn from their joint uncertainty, each draw's crossing next to the end found. The end itself is where
the band widened for its confidence crosses. It lies near the careful side of the interval and not at it: the
interval may reach some kelvin further into the window, and where it does not reach the end, the end is taken in.
A draw that crosses nowhere ends where the data do, so an interval that reaches there is open (`beyond`).

Beside the window stands the best estimate of its ends (`estimated`): where the middle of stops leaves the target band by the
curve and the scatter as they are estimated, without a margin for how well they are known.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from pipeline.friction.bands import Curve
from pipeline.friction.posterior import FARTHEST, Curves, interval
from pipeline.friction.transition import plateau_level

AT_EDGE_K = 0.01
WITHOUT_TARGET = 0.15  # the band about the plateau's mean where no target gives one


@dataclass(frozen=True)
class End:
    """One end of a window: K, and what limits it (band or data) with the words for it."""

    temperature: float
    limited_by: str
    why: str
    low: float | None = None
    high: float | None = None
    beyond: bool = False  # the interval reaches the end of the data: the end may lie beyond it


@dataclass(frozen=True)
class Window:
    low: End
    high: End


def inside_ranges(curve: Curve, wanted: tuple[float, float]) -> list[tuple[End, End]]:
    """Every unbroken range with the tolerance band inside the target band, in order of temperature."""
    slack = np.minimum(curve.tolerance_low - wanted[0], wanted[1] - curve.tolerance_high)
    ranges = []
    for k in np.unique(curve.stretch):
        rows = np.flatnonzero(curve.stretch == k)
        good = slack[rows] >= 0
        edges = np.flatnonzero(np.diff(np.r_[0, good.astype(int), 0]))
        for first, last in zip(edges[::2], edges[1::2] - 1, strict=True):
            low = _end(curve, rows, first, -1, slack, wanted)
            high = _end(curve, rows, last, 1, slack, wanted)
            ranges.append((low, high))
    return ranges


def _end(curve: Curve, rows: np.ndarray, at: int, step: int, slack: np.ndarray, wanted: tuple[float, float]) -> End:
    """The end next to grid row `at` of a stretch, looking in the direction of `step`."""
    i = rows[at]
    side = "end" if step > 0 else "begin"
    if not 0 <= at + step < rows.size:
        return End(float(curve.temperature[i]), "data", f"data {side} at {curve.temperature[i] - 273.15:.0f} C")
    j = rows[at + step]
    share = slack[i] / (slack[i] - slack[j])
    t = float(curve.temperature[i] + share * (curve.temperature[j] - curve.temperature[i]))
    below = curve.tolerance_low[j] - wanted[0] < wanted[1] - curve.tolerance_high[j]
    edge, limit = ("lower", wanted[0]) if below else ("upper", wanted[1])
    return End(t, "band", f"{edge} edge of the tolerance band crosses {limit:.3g} at {t - 273.15:.0f} C")


def widest(curve: Curve, wanted: tuple[float, float]) -> tuple[End, End] | None:
    return around(curve, wanted, None)


def estimated(curve: Curve, link: str, coverage: float) -> Curve:
    """The curve with the band that holds `coverage` of single stops by best estimate in place of its tolerance band."""
    half = special.ndtri((1 + coverage) / 2) * curve.scatter
    if link == "log":
        half = half / curve.mu
        return replace(curve, tolerance_low=curve.mu * np.exp(-half), tolerance_high=curve.mu * np.exp(half))
    return replace(curve, tolerance_low=curve.mu - half, tolerance_high=curve.mu + half)


def around(curve: Curve, wanted: tuple[float, float], window: tuple[End, End] | None) -> tuple[End, End] | None:
    """The range of the curve inside the target band that has the most of `window`, of these (or without one) the widest."""

    def size(ends: tuple[End, End]) -> tuple[float, float]:
        low, high = (end.temperature for end in ends)
        shared = min(high, window[1].temperature) - max(low, window[0].temperature) if window else 0.0
        return max(shared, 0.0), high - low

    return max((r for r in inside_ranges(curve, wanted) if r[1].temperature > r[0].temperature), key=size, default=None)


def why_none(curve: Curve, wanted: tuple[float, float]) -> str:
    """The reason for no window, by the place where the band comes nearest to fitting."""
    if curve.temperature.size == 0:
        return "no temperature is supported by the data"
    slack = np.minimum(curve.tolerance_low - wanted[0], wanted[1] - curve.tolerance_high)
    if (slack >= 0).any():
        return "the tolerance band fits at single temperatures only"
    i = int(np.argmax(slack))
    low, high = curve.tolerance_low[i], curve.tolerance_high[i]
    width = " (it is wider than the target band there)" if high - low > wanted[1] - wanted[0] else ""
    return (
        f"nowhere between {curve.temperature[0] - 273.15:.0f} and {curve.temperature[-1] - 273.15:.0f} C does the tolerance "
        f"band lie inside {wanted[0]:.3g} to {wanted[1]:.3g}; nearest at {curve.temperature[i] - 273.15:.0f} C, "
        f"where it runs from {low:.3f} to {high:.3f}{width}"
    )


def plateau_band(curve: Curve) -> tuple[tuple[float, float], float]:
    """The band sought where no target gives one, +-15 % of the plateau's mean, and that mean.

    The plateau is that of the landmarks; the whole curve's mean where its temperatures are too few for one.
    """
    level = plateau_level(curve)
    level = float(curve.mu.mean()) if level is None else level
    return (level * (1 - WITHOUT_TARGET), level * (1 + WITHOUT_TARGET)), level


def with_intervals(
    window: tuple[End, End],
    curve: Curve,
    drawn: Curves,
    link: str,
    wanted: tuple[float, float],
    *,
    confidence: float,
    coverage: float,
) -> tuple[End, End]:
    """The window's ends with their intervals (K), from curves drawn on the curve's grid; none for an end
    at the data's.
    """
    slack = true_slack(drawn, link, wanted, coverage)
    found = []
    for end, outward in zip(window, (-1, 1), strict=True):
        if end.limited_by == "data":
            found.append(end)
            continue
        low, high = interval(crossings(curve, slack, end.temperature, outward), drawn.weight, confidence)
        low, high = min(low, end.temperature), max(high, end.temperature)
        stretch = curve.temperature[curve.stretch == stretch_of(curve, end.temperature)]
        beyond = high >= stretch[-1] - AT_EDGE_K if outward > 0 else low <= stretch[0] + AT_EDGE_K
        found.append(replace(end, low=low, high=high, beyond=bool(beyond)))
    return found[0], found[1]


def true_slack(drawn: Curves, link: str, wanted: tuple[float, float], coverage: float) -> np.ndarray:
    """Room between the target band and the band that truly holds `coverage` of single stops, for every
    drawn curve.
    """
    half = special.ndtri((1 + coverage) / 2) * np.sqrt(drawn.variance)
    low, high = drawn.z - half, drawn.z + half
    if link == "log":
        low, high = np.exp(low), np.exp(np.minimum(high, FARTHEST))
    return np.minimum(low - wanted[0], wanted[1] - high)


def stretch_of(curve: Curve, temperature: float) -> int:
    """The unbroken stretch of the curve nearest to a temperature (K)."""
    return int(curve.stretch[np.argmin(np.abs(curve.temperature - temperature))])


def crossings(curve: Curve, slack: np.ndarray, end: float, outward: int) -> np.ndarray:
    """Temperature at which each drawn slack changes sign nearest to `end` (K); the stretch's end where it
    never does.
    """
    rows = np.flatnonzero(curve.stretch == stretch_of(curve, end))
    t, s = curve.temperature[rows], slack[:, rows] * 1.0
    inner, outer = (slice(0, -1), slice(1, None)) if outward > 0 else (slice(1, None), slice(0, -1))
    leaves = (s[:, inner] >= 0) & (s[:, outer] < 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = t[inner] + s[:, inner] / (s[:, inner] - s[:, outer]) * (t[outer] - t[inner])
    distance = np.where(leaves, np.abs(at - end), np.inf)
    best = distance.argmin(axis=1)
    found = at[np.arange(len(s)), best]
    edge = t[-1] if outward > 0 else t[0]
    here = s[:, np.argmin(np.abs(t - end))] >= 0
    return np.where(leaves.any(axis=1), found, np.where(here, edge, end))
