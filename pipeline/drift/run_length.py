"""Average run length of control charts on independent standard normal residuals.

The run length is the number of points until the chart signals. Its mean solves an integral equation in
the chart's present state (a Markov chain in the limit of many states), here by Gauss-Legendre quadrature
(Page 1954 for the cumulative sum, Crowder 1987 for the weighted average; from memory). The figures are
those of known mean and spread: the limits used on a real test come from `detection.limits`, which adds
what these leave out, the autocorrelation and the estimated level and spread.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

_NODES = 160


def _density(x: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.exp(-0.5 * x * x) / np.sqrt(2 * np.pi)


def _one_sided_cusum(allowance: float, limit: float, shift: float) -> float:
    """Mean run length of a one-sided cumulative sum that starts at 0 and is reflected there."""
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    state, weights = (nodes + 1) * limit / 2, weights * limit / 2
    drift = shift - allowance
    kernel = np.zeros((_NODES + 1, _NODES + 1))
    kernel[:-1, :-1] = _density(state[None, :] - state[:, None] - drift) * weights
    kernel[:-1, -1] = ndtr(-state - drift)
    kernel[-1, :-1] = _density(state - drift) * weights
    kernel[-1, -1] = ndtr(-drift)
    return float(np.linalg.solve(np.eye(_NODES + 1) - kernel, np.ones(_NODES + 1))[-1])


def cusum_run_length(allowance: float, limit: float, shift: float = 0.0, *, sides: int = 1) -> float:
    """Average run length of a cumulative sum chart, in points.

    `allowance` k and `limit` h in standard deviations, `shift` of the mean likewise. One-sided charts watch
    for the shift's own direction (upwards for 0); with `sides=2` the two rates add.
    """
    if limit <= 0 or sides not in (1, 2):
        raise ValueError("the limit must be positive and the chart have one side or two")
    up = _one_sided_cusum(allowance, limit, shift if sides == 2 else abs(shift))
    if sides == 1:
        return up
    down = _one_sided_cusum(allowance, limit, -shift)
    return 1 / (1 / up + 1 / down)


def ewma_run_length(weight: float, width: float, shift: float = 0.0) -> float:
    """Average run length of a two-sided EWMA chart with its asymptotic limits, in points.

    `weight` is lambda, `width` L the limit in standard deviations of the average, `shift` in those of a point.
    """
    if not 0 < weight <= 1 or width <= 0:
        raise ValueError("the weight must lie in (0, 1] and the width be positive")
    limit = width * np.sqrt(weight / (2 - weight))
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    state, weights = nodes * limit, weights * limit

    def kernel(start: NDArray[np.float64], end: NDArray[np.float64]) -> NDArray[np.float64]:
        return _density((end - (1 - weight) * start) / weight - shift) / weight

    from_state = kernel(state[:, None], state[None, :]) * weights
    lengths = np.linalg.solve(np.eye(_NODES) - from_state, np.ones(_NODES))
    return float(1 + (kernel(np.zeros(1), state) * weights) @ lengths)


def shewhart_run_length(width: float, shift: float = 0.0) -> float:
    """Average run length of single points against limits at +-`width` standard deviations."""
    return float(1 / (ndtr(-width - shift) + ndtr(-width + shift)))
