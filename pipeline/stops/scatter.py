"""Scatter of mu inside the window: what is left of it about a smooth trend.

In-stop rise and fade are the material's, not an uncertainty of the mean, so the trend is taken off first. What is left is
correlated (the filter, ripple), so it averages out as its effective number of samples does, not as all of them.
"""

import numpy as np

from pipeline.conditioning.rest import effective_number


def smooth_basis(share: np.ndarray, degree: int) -> np.ndarray:
    """Legendre polynomials up to `degree` on share (n,) from 0 to 1: (n, degree + 1)."""
    return np.polynomial.legendre.legvander(2 * share - 1, degree)


def scatter_of_mean(mu: np.ndarray, weight: np.ndarray, *, degree: int = 5) -> tuple[float, float]:
    """Standard uncertainty of the weighted mean of mu from its scatter about a smooth trend, and the effective number.

    mu, weight: (n,), in time order. NaN below eight samples: a scatter from so few is no scatter.
    """
    good = np.isfinite(mu) & (weight > 0)
    values, weight = mu[good], weight[good]
    n = values.size
    if n < 8:
        return float("nan"), 0.0
    basis = smooth_basis(np.linspace(0.0, 1.0, n), min(degree, n // 6))
    residual = values - basis @ np.linalg.lstsq(basis, values, rcond=None)[0]
    sigma = float(np.sqrt(residual @ residual / (n - basis.shape[1])))
    number = effective_number(residual)
    share = float(np.square(weight).sum() / weight.sum() ** 2) * n  # at least 1: unequal weights
    effective = max(number / share, 1.0)
    return sigma / np.sqrt(effective), effective
