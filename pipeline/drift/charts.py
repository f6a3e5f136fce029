"""Chart statistics: the exponentially weighted moving average and the cumulative sum.

Both work along the last axis, so that one call serves a test's residuals and the thousands of simulated
ones from which its limits come. Formulas as in the NIST/SEMATECH e-Handbook, 6.3.2.3 and 6.3.2.4.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def ewma(values: ArrayLike, weight: float, start: float = 0.0) -> NDArray[np.float64]:
    """z_i = weight x_i + (1 - weight) z_{i-1} with z_0 = `start`; same shape as `values` (z_0 left out)."""
    x = np.asarray(values, float)
    out = np.empty_like(x)
    state = np.full(x.shape[:-1], float(start))
    for i in range(x.shape[-1]):
        state = weight * x[..., i] + (1 - weight) * state
        out[..., i] = state
    return out


def ewma_limit(weight: float, width: float, sigma: float, count: ArrayLike | None = None) -> NDArray[np.float64]:
    """Distance of the EWMA's limits from its centre: asymptotic, or exact after `count` points."""
    limit = width * sigma * np.sqrt(weight / (2 - weight))
    if count is None:
        return np.asarray(limit)
    return limit * np.sqrt(1 - (1 - weight) ** (2 * np.asarray(count, float)))


def cusum(values: ArrayLike, target: float, allowance: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Upper and lower cumulative sums, both counted positive, in the values' own unit.

    upper_i = max(0, upper_{i-1} + x_i - target - allowance), lower_i likewise for the fall.
    """
    x = np.asarray(values, float) - target
    upper, lower = np.empty_like(x), np.empty_like(x)
    high = np.zeros(x.shape[:-1])
    low = np.zeros(x.shape[:-1])
    for i in range(x.shape[-1]):
        high = np.maximum(0.0, high + x[..., i] - allowance)
        low = np.maximum(0.0, low - x[..., i] - allowance)
        upper[..., i], lower[..., i] = high, low
    return upper, lower


def first_beyond(statistic: ArrayLike, limit: float) -> int | None:
    """Index of the first point beyond the limit, or None."""
    beyond = np.flatnonzero(np.asarray(statistic) > limit)
    return int(beyond[0]) if len(beyond) else None
