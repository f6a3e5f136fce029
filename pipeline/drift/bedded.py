"""Bedding that was not finished when the bedding block ended: friction at the first checks still on its way.

A change is laid to bedding when it dies away from the start of the test at least as likely as it takes any other shape,
and either the bedding block was still moving the same way when it ended (or there was none), or the dying-away beats
every other shape.
"""

from typing import NamedTuple

import numpy as np

from pipeline.constants import Array
from pipeline.drift.change import Search, before_use
from pipeline.drift.matching import finite_median
from pipeline.drift.monitoring import Watch, local_slopes
from pipeline.drift.noise import Repeatability, covariance, generalised
from pipeline.drift.series import Series
from pipeline.drift.shapes import bedding
from pipeline.method.drift import Drift

WITH_SUPPORT = 2.8  # z of the first checks' dying away that counts when the bedding block was still moving that way


class Bedding(NamedTuple):
    """Size at the first check (share of the settled level, negative: low) with interval, time constant, effect on ln
    mu.
    """

    onset: int
    settled: int
    size: float
    low: float
    high: float
    constant: float
    mu_settled: float
    support: str
    effect: Array
    column: Array


def unfinished_bedding(
    s: Series, friction: Array, w: Watch, found: Search, noise: Repeatability, settings: Drift
) -> Bedding | None:
    """The change of the first matched stops that bedding explains; None without one."""
    d, shapes = found.found, found.shapes
    own = np.flatnonzero(shapes.family == "bedding")
    if not len(own):
        return None
    best = int(own[np.argmax(np.abs(d.z[own]))])
    gain = 0.5 * d.z**2
    others = gain[shapes.family != "bedding"].max(initial=0.0)
    sign = float(np.sign(d.amplitude[best]))
    if sign > 0 and w.kind == "use":
        return None  # a fall in low-energy use from its first stop on is what a glaze does
    still = bedding_still_moving(s, friction, noise)
    supported = still is None or still * sign < -1.64
    if abs(d.z[best]) < (WITH_SUPPORT if still is not None and supported else d.limits.ratio):
        return None
    if gain[best] < others + (-2.5 if supported else 1.0):
        return None
    constant = float(shapes.constant[best])
    column = bedding(s.stop, int(shapes.onset[best])).columns
    column = column[:, np.argmin(np.abs(shapes.constant[own] - constant))]
    column = np.where(s.purpose == "bedding", 0.0, column)
    first = w.deciding[0]
    at_first, u = float(column[first]), abs(d.amplitude[best] / d.z[best])
    size = float(d.amplitude[best] * at_first)
    if abs(size) < settings.least_loss:
        return None
    settled = s.stop[w.deciding][column[w.deciding] < 0.2 * at_first]
    support = (
        "there was no bedding block"
        if still is None
        else "the bedding block was still moving the same way when it ended"
        if supported
        else "the bedding block had settled, but the first checks die away like bedding"
    )
    level = float(np.exp(finite_median(friction[w.deciding][column[w.deciding] < 0.3])))
    return Bedding(
        int(s.stop[first]),
        int(settled[0]) if len(settled) else int(s.stop[w.deciding[-1]]),
        float(np.expm1(size)),
        float(np.expm1(size - 2 * u * at_first)),
        float(np.expm1(size + 2 * u * at_first)),
        constant,
        level,
        support,
        d.amplitude[best] * column,
        column,
    )


def bedding_still_moving(s: Series, friction: Array, noise: Repeatability) -> float | None:
    """Trend of the bedding block's last half over its uncertainty (positive: rising); None without a bedding block."""
    own = np.flatnonzero((s.purpose == "bedding") & np.isfinite(friction))
    if len(own) < 8:
        return None
    half = own[len(own) // 2 :]
    slopes = local_slopes(s, float(finite_median(s.temperature[half])), before_use(s))
    values = (
        friction[half] - slopes.value[0] * np.nan_to_num(s.temperature[half] - finite_median(s.temperature[half])) / 100
    )
    matrix = covariance(s.stop[half], s.block[half], np.full(len(half), noise.sigma), noise.rho, 0.0)
    along = np.linspace(-0.5, 0.5, len(half))
    beta, cover = generalised(np.column_stack([np.ones(len(half)), along]), values, matrix)
    return float(beta[1] / np.sqrt(cover[1, 1]))
