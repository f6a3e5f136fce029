"""The landmarks of a friction curve: cold friction, transition, plateau, change at high temperature.

Carbon in air rises abruptly from low friction to high (Yen and Ishihara, Carbon 34, 1996, p. 489: 150 to 200
C), and above about 600 C it may rise or fall, by material: the sign is read, never assumed. The transition is
where mu climbs fastest. Every figure is taken from each of many drawn curves, which gives its interval; the
calibration error common to all stops is in them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.friction.bands import Curve
from pipeline.friction.posterior import Curves, interval
from pipeline.results.friction_map import Landmark, Landmarks
from pipeline.results.model import renewed

RISE_SHARE = 0.2  # of the plateau's mu: a climb less than this is no transition
FLANK_DRAWS = 0.95  # share of the drawn curves that must show a climb of that size
PLATEAU_K = 100.0
FEWEST_POINTS = 6
ZERO_C = 273.15


@dataclass(frozen=True)
class Pieces:
    """An unbroken stretch of the curve with the drawn curves on it; mu (grid,), draws (samples, grid)."""

    t: np.ndarray  # K
    mu: np.ndarray
    draws: np.ndarray
    weight: np.ndarray
    confidence: float

    def given(self, value: float, draws: np.ndarray) -> Landmark:
        """A figure with the interval of its draws, itself taken in."""
        low, high = interval(draws, self.weight, self.confidence)
        return Landmark(value=float(value), low=min(low, float(value)), high=max(high, float(value)))


def landmarks(curve: Curve, drawn: Curves, confidence: float) -> Landmarks:
    """Cold friction, transition temperature, plateau and high-temperature change of the widest unbroken
    support.
    """
    rows = widest_stretch(curve)
    part = Pieces(curve.temperature[rows], curve.mu[rows], drawn.mu[:, rows], drawn.weight, confidence)
    t, mu = part.t, part.mu
    if t.size < FEWEST_POINTS:
        nothing = Landmark(why="the supported temperatures are too few")
        return Landmarks(cold_friction=nothing, transition=nothing, plateau=nothing, high_temperature_change=nothing)
    flat = flattest(t, mu, middle_of_steepest(t, mu[None, :])[0])
    level, levels = average(t, mu[None, :], flat)[0], average(t, part.draws, flat)
    ends = {"from_c": float(t[flat[0]] - ZERO_C), "to_c": float(t[flat[1]] - ZERO_C)}
    return Landmarks(
        cold_friction=renewed(part.given(mu[0], part.draws[:, 0]), temperature_c=float(t[0] - ZERO_C)),
        transition=transition(part, level, levels),
        plateau=renewed(part.given(level, levels), **ends),
        high_temperature_change=hot_change(part, flat[1], level, levels),
    )


def widest_stretch(curve: Curve) -> np.ndarray:
    """Rows of the curve's widest unbroken support."""
    widths = {k: np.ptp(curve.temperature[curve.stretch == k]) for k in np.unique(curve.stretch)}
    return np.flatnonzero(curve.stretch == max(widths, key=lambda k: widths[k]))


def plateau_level(curve: Curve) -> float | None:
    """The plateau's mean mu, as among the landmarks; None where the supported temperatures are too few."""
    rows = widest_stretch(curve)
    t, mu = curve.temperature[rows], curve.mu[rows]
    if t.size < FEWEST_POINTS:
        return None
    return float(average(t, mu[None, :], flattest(t, mu, middle_of_steepest(t, mu[None, :])[0]))[0])


def middle_of_steepest(t: np.ndarray, mu: np.ndarray) -> np.ndarray:
    """Temperature (K) of the fastest climb of each curve, by a parabola through the three highest slopes."""
    slope = np.gradient(mu, t, axis=1)
    i = np.clip(slope.argmax(axis=1), 1, t.size - 2)
    k = np.arange(len(mu))
    a, b, c = slope[k, i - 1], slope[k, i], slope[k, i + 1]
    curvature = a - 2 * b + c
    with np.errstate(divide="ignore", invalid="ignore"):
        step = np.where(curvature < 0, (a - c) / (2 * curvature), 0.0)
    return t[i] + np.clip(step, -1, 1) * (t[i + 1] - t[i - 1]) / 2


def transition(part: Pieces, level: float, levels: np.ndarray) -> Landmark:
    """Temperature of the fastest climb with its interval; null where there is no climb or its foot is not
    in the data.
    """
    t, mu, draws = part.t, part.mu, part.draws
    climb = (levels - draws[:, 0]) / levels
    if (part.weight * (climb > RISE_SHARE)).sum() < FLANK_DRAWS:
        return Landmark(why=f"mu does not climb by {100 * RISE_SHARE:.0f} % of its plateau within the data")
    slope = np.gradient(mu, t)
    if slope.argmax() <= 1:
        return Landmark(why=f"mu climbs fastest at or below the data's coldest temperature, {t[0] - ZERO_C:.0f} C")
    at, every = middle_of_steepest(t, mu[None, :])[0], middle_of_steepest(t, draws)
    found = part.given(at - ZERO_C, every - ZERO_C)
    note = "the foot of the climb is not in the data" if slope[0] > 0.5 * slope.max() else None
    return renewed(
        found,
        note=note,
        slope_per_100c=float(slope.max() * 100),
        climb_share=float((level - mu[0]) / level),
    )


def flattest(t: np.ndarray, mu: np.ndarray, above: float) -> tuple[int, int]:
    """First and last index of the flattest stretch of about PLATEAU_K above the steepest place, or of all
    there is.
    """
    first = min(int(np.searchsorted(t, above)), t.size - 1)
    if t[-1] - t[first] < PLATEAU_K:
        first = int(np.searchsorted(t, t[-1] - PLATEAU_K)) if t[-1] - t[0] > PLATEAU_K else 0
        return first, t.size - 1
    best, found = np.inf, (first, t.size - 1)
    for i in range(first, t.size):
        j = int(np.searchsorted(t, t[i] + PLATEAU_K))
        if j >= t.size:
            break
        spread = np.ptp(mu[i : j + 1])
        if spread < best:
            best, found = spread, (i, j)
    return found


def average(t: np.ndarray, mu: np.ndarray, ends: tuple[int, int]) -> np.ndarray:
    part = slice(ends[0], ends[1] + 1)
    return np.trapezoid(mu[:, part], t[part], axis=1) / (t[part][-1] - t[part][0])


def hot_change(part: Pieces, flat_to: int, level: float, levels: np.ndarray) -> Landmark:
    """mu at the hottest supported temperature less the plateau's, and whether it rises, falls or neither
    is shown.
    """
    t, mu = part.t, part.mu
    if t[-1] - t[flat_to] < 20:
        why = f"the data end at {t[-1] - ZERO_C:.0f} C, on the plateau"
        return Landmark(why=why)
    found = part.given(mu[-1] - level, part.draws[:, -1] - levels)
    low, high = found.low or 0.0, found.high or 0.0
    sign = "rises" if low > 0 else "falls" if high < 0 else "not shown"
    return renewed(found, share=float(mu[-1] / level - 1), temperature_c=float(t[-1] - ZERO_C), sign=sign)
