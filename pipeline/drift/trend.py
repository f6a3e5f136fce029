"""Monotone trend without a distribution: Sen's slope and the Mann-Kendall test.

The test's variance is that of Kendall with ties; for a series whose neighbours are alike it is widened by
the factor of Hamed and Rao (J. Hydrology 204, 1998, p. 182; from memory), which sums the significant
autocorrelations of the ranks of the detrended series.

scipy's theilslopes and kendalltau give the same slope and the same S, but neither can be told of that factor. Of
series whose neighbours are alike its interval holds fewer slopes than ours, and ours fewer than it says: 79 % for 95
where they are correlated by 0.6, 88 where by 0.3 (docs/libraries.md). The trend is evidence beside others and decides
nothing alone.
"""

from typing import NamedTuple

import numpy as np
import polars as pl
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri


class Trend(NamedTuple):
    """Sen's slope with its interval (value per unit of time), Kendall's S, its Z and two-sided p."""

    slope: float
    low: float
    high: float
    s: int
    z: float
    p: float
    variance_factor: float


def _kendall_variance(values: NDArray[np.float64]) -> float:
    n = len(values)
    _, ties = np.unique(values, return_counts=True)
    tied = float(np.sum(ties * (ties - 1) * (2 * ties + 5)))
    return (n * (n - 1) * (2 * n + 5) - tied) / 18


def hamed_rao_factor(values: ArrayLike, times: ArrayLike, slope: float) -> float:
    """Widening of the Mann-Kendall variance by the autocorrelation of the detrended ranks; at least 1.

    Only autocorrelations outside +-1.96/sqrt(n) count, as in the original.
    """
    y = np.asarray(values, float) - slope * np.asarray(times, float)
    n = len(y)
    ranks = pl.Series(y).rank().to_numpy() - (n + 1) / 2
    power = np.correlate(ranks, ranks, "full")[n - 1 :]
    lags = np.arange(1, n - 1)
    rho = power[1 : n - 1] / power[0] if power[0] > 0 else np.zeros(len(lags))
    rho = np.where(np.abs(rho) > 1.96 / np.sqrt(n), rho, 0.0)
    total = np.sum((n - lags) * (n - lags - 1) * (n - lags - 2) * rho)
    return float(max(1.0, 1 + 2 / (n * (n - 1) * (n - 2)) * total))


def monotone_trend(
    values: ArrayLike, times: ArrayLike | None = None, *, confidence: float = 0.95, correlated: bool = False
) -> Trend:
    """Theil-Sen slope and Mann-Kendall test of a series of at least four values.

    `times` defaults to 0, 1, 2 ...; `correlated` widens the variance by `hamed_rao_factor`. The interval is
    Sen's (1968), from the ordered pairwise slopes. Raises ValueError for shorter series.
    """
    y = np.asarray(values, float)
    t = np.arange(len(y), dtype=float) if times is None else np.asarray(times, float)
    if len(y) < 4:
        raise ValueError("a trend needs at least four values")
    i, j = np.triu_indices(len(y), 1)
    apart = t[j] != t[i]
    slopes = np.sort((y[j] - y[i])[apart] / (t[j] - t[i])[apart])
    slope = float(np.median(slopes))
    s = int(np.sum(np.sign((y[j] - y[i])[apart] * np.sign(t[j] - t[i])[apart])))
    factor = hamed_rao_factor(y, t, slope) if correlated else 1.0
    spread = np.sqrt(_kendall_variance(y) * factor)
    z = (s - np.sign(s)) / spread if spread > 0 else 0.0
    reach = ndtri(0.5 + confidence / 2) * spread
    # Counted from 1, the ends are the slopes of rank (N - reach) / 2 and (N + reach) / 2 + 1, rounded outwards.
    low = slopes[max(0, int(np.floor((len(slopes) - reach) / 2)) - 1)]
    high = slopes[min(len(slopes) - 1, int(np.ceil((len(slopes) + reach) / 2)))]
    return Trend(slope, float(low), float(high), s, float(z), float(2 * ndtr(-abs(z))), factor)
