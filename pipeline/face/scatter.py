"""How the segments of a stop scatter together.

Residuals of ln mu in the segments of one stop are alike. Their covariance is

    V = n^2 I + o^2 exp(-|a - b| / l) + a^2 1 1' + t^2 g g'

noise, a wandering along the stop, the stop's own level, and its own error t in temperature times the law's slope g in its
segments: on a flank a few kelvin make a stop of its own. The five figures maximise the likelihood of the residuals.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.constants import Array

FLOOR = 0.002  # relative: conduction in one dimension, and what a law is, are no truer than this within a stop
START = np.log([0.008, 0.006, 2.0, 0.008, 1.5])  # n, o, l (segments), a, t (K)
SPREAD = np.array([1.0, 1.0, 0.7, 1.0, 0.8])  # weak prior about the start, of the logarithms


@dataclass(frozen=True)
class Scatter:
    """noise, wander, range in segments, level (relative) and kelvin of single stops."""

    noise: float
    wander: float
    range: float
    level: float
    kelvin: float

    def covariance(self, steepness: Array) -> Array:
        """V [stops, segments, segments] at slopes of ln mu per K [stops, segments]."""
        k = np.arange(steepness.shape[1])
        alike = self.wander**2 * np.exp(-np.abs(k[:, None] - k) / self.range) + self.level**2
        alike = alike + (self.noise**2 + FLOOR**2) * np.eye(k.size)
        return alike + self.kelvin**2 * steepness[:, :, None] * steepness[:, None, :]

    def of_mean(self, weights: Array, steepness: Array) -> Array:
        """Standard deviation of weighted means over a stop's segments, [stops]; weights as steepness, rows of sum 1."""
        return np.sqrt(np.einsum("sa,sab,sb->s", weights, self.covariance(steepness), weights))


def of_logarithms(values: Array) -> Scatter:
    return Scatter(*(float(v) for v in np.exp(values)))


def fitted(residuals: Array, steepness: Array, weights: Array, start: Scatter | None = None) -> Scatter:
    """The scatter of residuals [stops, segments] by maximum likelihood with weak priors; weights [stops] hold strays back."""
    from scipy import optimize

    def cost(values: Array) -> float:
        lower = np.linalg.cholesky(of_logarithms(values).covariance(steepness))
        white = np.linalg.solve(lower, residuals[:, :, None])[:, :, 0]
        logs = np.log(np.einsum("saa->sa", lower)).sum(axis=1)
        fit = (weights * (0.5 * (white**2).sum(axis=1) + logs)).sum()
        return float(fit + 0.5 * (((values - START) / SPREAD) ** 2).sum())

    first = START if start is None else np.log([start.noise, start.wander, start.range, start.level, start.kelvin])
    low = START - 4 * SPREAD
    best = optimize.minimize(
        cost, first, method="L-BFGS-B", bounds=list(zip(low, START + 4 * SPREAD, strict=True)), options={"maxiter": 25}
    )
    return of_logarithms(best.x)
