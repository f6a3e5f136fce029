"""Scatter within tests: of a stop within its block, and of a block (an occasion) within its test.

    block mean = test + occasion + mean of its stops          s_o^2 = MS(blocks in tests) - mean variance of their means

Neighbouring stops are correlated, and the variance of a block's mean allows for that. One stray stop does not set the
scatter (`drift.noise.pooled_scatter`); which test holds strays is Cochran's question (`consistency`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.constants import Array
from pipeline.drift.noise import Pooled, pooled_scatter
from pipeline.drift.repeatability import variance_of_mean
from pipeline.laboratory.components import DRAWS, SEED, Estimate
from pipeline.laboratory.readings import Reading

STOP_WHY = "fewer than four degrees of freedom within blocks of stops"
OCCASION_WHY = "no test has two blocks of such stops"


@dataclass(frozen=True)
class Within:
    """Stop and occasion (None where nothing tells them), and the correlation of neighbouring stops."""

    stop: Estimate | None
    occasion: Estimate | None
    rho: float | None

    @property
    def thinning(self) -> float:
        """By how much correlated neighbours know less of their scatter than their number says."""
        rho = self.rho or 0.0
        return (1 + rho * rho) / (1 - rho * rho)

    def variance(self, blocks: Sequence[Array]) -> float:
        """Of a test's value, the mean of its blocks' means."""
        if self.stop is None:
            return 0.0
        pooled = Pooled(float(np.sqrt(self.stop.variance)), self.rho or 0.0, 0.0, 0)
        own = sum(variance_of_mean(len(b), pooled) for b in blocks) / len(blocks) ** 2
        return own + (self.occasion.variance if self.occasion else 0.0) / len(blocks)


def within(readings: Sequence[Reading]) -> Within:
    """Scatter within the tests, pooled over them."""
    blocks = [b for r in readings for b in r.blocks]
    pooled = pooled_scatter([b for b in blocks if len(b) > 2]) or _uncorrelated(blocks)
    if pooled is None:
        return Within(None, None, None)
    variance = pooled.sigma**2
    rho = pooled.rho
    df = max(1, round(pooled.dof * (1 - rho * rho) / (1 + rho * rho)))
    drawn = variance * df / np.random.default_rng(SEED).chisquare(df, DRAWS)
    low, high = np.quantile(drawn, [0.025, 0.975])
    stop = Estimate(variance, float(low), float(high), df)
    return Within(stop, _occasion(readings, pooled), rho if pooled.u_rho else None)


def _uncorrelated(blocks: Sequence[Array]) -> Pooled | None:
    """Short blocks, as of a map: neighbours taken as independent."""
    df = sum(len(b) - 1 for b in blocks)
    if df < 4:
        return None
    squares = sum(float(((b - b.mean()) ** 2).sum()) for b in blocks)
    return Pooled(float(np.sqrt(squares / df)), 0.0, 0.0, df)


def _occasion(readings: Sequence[Reading], pooled: Pooled) -> Estimate | None:
    several = [r.blocks for r in readings if len(r.blocks) > 1]
    df = sum(len(blocks) - 1 for blocks in several)
    if df < 1:
        return None
    squares = sum(float(np.var([b.mean() for b in blocks]) * len(blocks)) for blocks in several)
    own = sum(
        (1 - 1 / len(blocks)) * sum(variance_of_mean(len(b), pooled) for b in blocks) for blocks in several
    ) / df  # fmt: skip
    rng = np.random.default_rng(SEED)
    drawn = squares / rng.chisquare(df, DRAWS) - own
    variance = max(0.0, squares / df - own)
    low, high = (max(0.0, float(q)) for q in np.quantile(drawn, [0.025, 0.975]))
    return Estimate(variance, min(low, variance), max(high, variance), df)


def of_stops(readings: Sequence[Reading], within_tests: Within) -> tuple[Array, Array]:
    """Variance of the stops of each test about its blocks' means, and its effective degrees of freedom (0: none)."""
    squares = np.array([sum(float(((b - b.mean()) ** 2).sum()) for b in r.blocks) for r in readings])
    free = np.array([sum(len(b) - 1 for b in r.blocks) for r in readings], float)
    return np.where(free > 0, squares / np.maximum(free, 1), 0.0), free / within_tests.thinning
