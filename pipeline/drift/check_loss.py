"""What checks take off a film before they have told it: a share of it each, read from how they come back.

The level after a use is the mean of a block of checks, and checks that are hard and hot enough wear the film off that they should show: their
mean tells less than the use cost. Where a use lost L in ln mu, the j-th check after it shows L exp(-k (j - 1/2)), half of what it takes
being gone in its middle. To first order its residual departs from the block's mean by k L (j - mean j), one line through the origin for
all uses of a compound that lost friction in gentle use:

    k = sum(L S) / sum(L^2 Q)     S = sum of (j - mean j) residual_j, Q = sum of (j - mean j)^2 over the checks after each use

with the variance of alike neighbours (rho to the power of their distance). Checks that take nothing off, or add to a film, have k = 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from pipeline.constants import Array
from pipeline.results.drift import Scatter

LEAST = 3  # checks after a use whose way tells anything


class After(NamedTuple):
    """A use's loss in ln mu, and the residuals in ln mu of the checks after it [n]."""

    loss: float
    residual: Array


def share_a_check(uses: Sequence[After], scatter: Scatter | None) -> tuple[float, float]:
    """(k, standard uncertainty) of what a check takes off a film; zeros where nothing tells it."""
    slopes, weight, variance = 0.0, 0.0, 0.0
    for loss, residual in uses:
        n = len(residual)
        if n < LEAST or scatter is None:
            continue
        away = np.arange(n) - (n - 1) / 2
        alike = np.clip(scatter.rho, 0.0, 0.95) ** np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
        slopes += loss * float(away @ residual)
        weight += loss**2 * float(away @ away)
        variance += loss**2 * float(away @ alike @ away) * scatter.sigma**2
    if weight <= 0:
        return 0.0, 0.0
    return max(slopes / weight, 0.0), float(np.sqrt(variance)) / weight


def left_over(checks: int, share: tuple[float, float]) -> tuple[float, float]:
    """(share of a loss that the mean of so many checks shows, its standard uncertainty)."""
    k, u = share
    taken = np.arange(checks) + 0.5
    shown = np.exp(-k * taken)
    return (float(shown.mean()), u * float((taken * shown).mean())) if checks else (1.0, 0.0)
