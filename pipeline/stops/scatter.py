"""Scatter of mu inside the window: what is left of it about a smooth trend.

In-stop rise and fade are the material's, not an uncertainty of the mean, so the trend is taken off first. What is
left is correlated (the filter, ripple), so it averages out as its effective number of samples does, not as all of
them.
"""

import numpy as np

from pipeline.conditioning.rest import effective_number
from pipeline.conditioning.time_base import picking

# of 1, u, u^2, u^3: the four splines over a piece, u from 0 to 1 along it
CUBICS = np.array([[1, -3, 3, -1], [4, 0, -6, 3], [1, 3, 3, -3], [0, 0, 0, 1]]) / 6
PARTS = np.arange(4)[:, None]


def smooth_basis(share: np.ndarray, pieces: int) -> np.ndarray:
    """Cubic B-splines on `pieces` equal pieces of share (n,) from 0 to 1: (n, pieces + 3), de Boor's uniform case."""
    x = np.minimum(np.maximum(share, 0.0), 1.0) * pieces
    piece = np.minimum(x.astype(int), pieces - 1)
    u = x - piece
    square = u * u
    basis = np.zeros((share.size, pieces + 3))
    first = np.arange(0, basis.size, pieces + 3) + piece
    basis.reshape(-1)[first + PARTS] = CUBICS @ np.array([np.ones(u.size), u, square, square * u])
    return basis


def scatter_of_mean(mu: np.ndarray, weight: np.ndarray, *, pieces: int = 12) -> tuple[float, float]:
    """Standard uncertainty of the weighted mean of mu from its scatter about a smooth trend, and the effective number.

    mu, weight: (n,), in time order. NaN below eight samples: a scatter from so few is no scatter.
    """
    good = picking(np.isfinite(mu) & (weight > 0))
    values, weight = mu[good], weight[good]
    n = values.size
    if n < 8:
        return float("nan"), 0.0
    basis = smooth_basis(np.arange(n) / (n - 1), max(min(pieces, n // 10), 1))
    # Eight samples or more to a piece, evenly spread: the normal equations are well conditioned, and three times as fast.
    residual = values - basis @ np.linalg.solve(basis.T @ basis, basis.T @ values)
    sigma = float(np.sqrt(residual @ residual / (n - basis.shape[1])))
    number = effective_number(residual)
    share = float(np.square(weight).sum() / weight.sum() ** 2) * n  # at least 1: unequal weights
    effective = max(number / share, 1.0)
    return sigma / np.sqrt(effective), effective
