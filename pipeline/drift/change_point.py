"""One change of level in a series: where, how sure, how large.

The place is the least-squares split; its interval follows Bai (1997, Econometric Theory 13, p. 315; formula
from memory): the distance of the estimate from the truth, scaled by (jump / standard deviation)^2, has the
law of the place where a two-sided random walk with a falling trend is highest. Each side may have its own
spread; for correlated residuals the long-run spread is handed in instead. Pettitt's rank test asks whether
there is a change at all without assuming a distribution (Appl. Statist. 28, 1979).
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import log_ndtr


class ChangePoint(NamedTuple):
    """Number of values before the change, its interval, the levels on both sides and the F of the split."""

    after: int
    low: int
    high: int
    level_before: float
    level_after: float
    f: float


class RankChange(NamedTuple):
    """Pettitt's statistic K, the number of values before the change, and the approximate p."""

    statistic: float
    after: int
    p: float


def split_statistics(values: ArrayLike) -> NDArray[np.float64]:
    """F of a split after 1 .. n-1 values against one common level (the Chow statistics of a mean)."""
    y = np.asarray(values, float)
    y = y - y.mean()
    n = len(y)
    before = np.arange(1, n)
    sums = np.cumsum(y)[:-1]
    explained = sums**2 * n / (before * (n - before))
    total = float(np.sum(y**2))
    left = np.maximum(total - explained, max(1e-12 * total, np.finfo(float).tiny))
    return explained / (left / (n - 2))


def argmax_distribution(x: float, ratio: float = 1.0) -> float:
    """Probability that the scaled distance is at most x; `ratio` is the variance after over that before."""
    distance = abs(x)
    if x < 0:
        frac = 1 / ratio
        return float(
            -np.exp(np.log(distance) / 2 - distance / 8) / np.sqrt(2 * np.pi)
            - ratio
            * (ratio + 2)
            / (ratio + 1)
            * np.exp(frac * (1 + frac) * distance / 2 + log_ndtr(-(0.5 + frac) * np.sqrt(distance)))
            + (distance / 2 - 2 + (ratio + 2) ** 2 / (ratio + 1)) * np.exp(log_ndtr(-np.sqrt(distance) / 2))
        )
    frac = 1 / ratio
    root = np.sqrt(frac * distance)
    return float(
        1
        + root * np.exp(-frac * distance / 8) / np.sqrt(2 * np.pi)
        + frac
        * (2 * ratio + 1)
        / (ratio + 1)
        * np.exp((ratio + 1) * distance / 2 + log_ndtr(-(ratio + 0.5) / np.sqrt(ratio) * np.sqrt(distance)))
        - ((2 * ratio + 1) ** 2 / ((ratio + 1) * ratio) - 2 + frac * distance / 2) * np.exp(log_ndtr(-root / 2))
    )


def _argmax_quantile(probability: float, ratio: float) -> float:
    low, high = -4000.0 * max(1.0, ratio), 4000.0 * max(1.0, ratio)
    for _ in range(100):
        middle = (low + high) / 2
        if argmax_distribution(middle, ratio) < probability:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def change_of_level(
    values: ArrayLike, *, confidence: float = 0.95, least: int = 3, long_run_variance: float | None = None
) -> ChangePoint:
    """The most likely single change of level, whatever its significance.

    `least` values must lie on either side. `after` counts the values before the change; `low` and `high` are
    the interval of that count. `long_run_variance` replaces the variances of the two sides where neighbours
    are correlated. Raises ValueError where the series is too short.
    """
    y = np.asarray(values, float)
    n = len(y)
    if n < 2 * least or n < 3:
        raise ValueError(f"a change of level needs {max(3, 2 * least)} values at least")
    f = split_statistics(y)[least - 1 : n - least]
    after = int(np.argmax(f)) + least
    before_level, after_level = float(y[:after].mean()), float(y[after:].mean())
    jump = after_level - before_level
    if long_run_variance is not None:
        variance = (long_run_variance, long_run_variance)
    else:
        variance = (float(y[:after].var(ddof=0)), float(y[after:].var(ddof=0)))
    if jump == 0:
        return ChangePoint(after, least, n - least, before_level, after_level, 0.0)
    if min(variance) <= 0:
        return ChangePoint(after, after, after, before_level, after_level, float(f.max()))
    tail = (1 - confidence) / 2
    ratio, scale = variance[1] / variance[0], variance[0] / jump**2
    low = after - int(np.ceil(_argmax_quantile(1 - tail, ratio) * scale))
    high = after - int(np.floor(_argmax_quantile(tail, ratio) * scale))
    return ChangePoint(after, max(low, 0), min(high, n), before_level, after_level, float(f.max()))


def rank_change(values: ArrayLike) -> RankChange:
    """Pettitt's test for a change of location."""
    y = np.asarray(values, float)
    n = len(y)
    sums = np.sign(y[:, None] - y[None, :]).sum(axis=1).cumsum()[:-1]
    after = int(np.argmax(np.abs(sums))) + 1
    statistic = float(abs(sums[after - 1]))
    p = min(1.0, 2 * np.exp(-6 * statistic**2 / (n**3 + n**2)))
    return RankChange(statistic, after, float(p))


def level_cusum(values: ArrayLike) -> float:
    """Largest cumulated deviation from the mean over s sqrt(n): 1.36 is beyond chance at 5 %."""
    y = np.asarray(values, float)
    return float(np.abs(np.cumsum(y - y.mean())).max() / (y.std(ddof=1) * np.sqrt(len(y))))
