"""How well a fitted variance is known, as degrees of freedom.

Satterthwaite: an estimated variance v with variance var(v) behaves like a chi-squared with 2 v^2 / var(v)
degrees of freedom. var(v) follows from the curvature of the restricted likelihood in the log variances (delta
method), plus 2 v^2 / (n - p) for the common scale. With two specimens and little scatter of stops it is 1,
with hundreds of stops of one specimen it is their number less what the curve takes up.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from pipeline.friction import likelihood
from pipeline.friction.mixed import Profile
from pipeline.friction.model import Fit

STEP = 0.03
FEWEST, MOST = 1.0, 1e4
NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(31)


def half_width(dof: np.ndarray, confidence: float) -> np.ndarray:
    """Standard errors either side that hold a mean with `confidence` when its variance has `dof` degrees of
    freedom.

    The log of the variance is taken as normal about log v + 1/dof with variance 2/dof: Student's t to a
    percent from 6 degrees on; below, where the prior on the specimens' scatter is what keeps the variance
    known at all, without t's tails.
    """
    spread = 2 / np.asarray(dof, float)
    sd = np.exp((spread[..., None] / 2 + np.sqrt(spread)[..., None] * NODES) / 2)
    low, high = np.zeros(spread.shape), np.full(spread.shape, 1e3)
    for _ in range(60):
        middle = (low + high) / 2
        held = special.ndtr(middle[..., None] / sd) @ WEIGHTS / WEIGHTS.sum()
        low, high = (
            np.where(held < (1 + confidence) / 2, middle, low),
            np.where(held < (1 + confidence) / 2, high, middle),
        )
    return (low + high) / 2


@dataclass(frozen=True)
class Neighbours:
    """Fits at variances a small step away along each free direction, and the covariance of the log
    variances.
    """

    fit: Fit
    data: likelihood.Data  # with strays held back
    free: np.ndarray  # elements of theta that were stepped
    above: tuple[Fit, ...]
    below: tuple[Fit, ...]
    covariance: np.ndarray

    def degrees(self, variance: Callable[[Fit], np.ndarray]) -> np.ndarray:
        """Degrees of freedom of a variance, elementwise over what `variance(fit)` returns."""
        return self.both_degrees(variance)[0]

    def both_degrees(self, variance: Callable[[Fit], np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
        """`degrees`, and the same with the variances of the random factors taken as known.

        Those of the bends always are: a band of a smooth holds its confidence on average over the curve with them at
        their estimates (Nychka 1988), wiggly estimates being wide where stiff ones are narrow; counting them again makes
        it hold more than it says.
        """
        v = variance(self.fit)
        slopes = np.zeros((len(self.above), v.size))
        for k in np.flatnonzero(self.free >= likelihood.BEND.stop):
            slopes[k] = (variance(self.above[k]) - variance(self.below[k])) / (2 * STEP)
        rest = slopes.copy()
        rest[self.free >= likelihood.GROUPS.start] = 0.0
        scale = 2 * v**2 / max(self.fit.data.response.size - self.fit.effective_parameters, 1.0)
        every, known = (
            np.clip(2 * v**2 / np.maximum(scale + ((self.covariance @ s) * s).sum(axis=0), 1e-300), FEWEST, MOST)
            for s in (slopes, rest)
        )
        return every, known


def neighbours(fit: Fit) -> Neighbours:
    """Step each log variance that is not at a bound; curvature by differences of the gradient."""
    bounds = np.array(likelihood.bounds(fit.data))
    inside = (fit.theta > bounds[:, 0] + STEP) & (fit.theta < bounds[:, 1] - STEP)
    free = np.flatnonzero(inside)
    moves = [fit.theta + STEP * np.eye(fit.theta.size)[k] for k in free]
    opposite = [fit.theta - STEP * np.eye(fit.theta.size)[k] for k in free]
    data = replace(fit.data, response=fit.pulled)
    above, below = ([likelihood.with_gradient(data, theta) for theta in way] for way in (moves, opposite))
    up, down = (
        np.array([gradient[free] for _, gradient, _ in way]).reshape(free.size, free.size) for way in (above, below)
    )
    curvature = (up - down) / (2 * STEP)
    values, vectors = np.linalg.eigh((curvature + curvature.T) / 2) if free.size else (np.zeros(0), np.eye(0))
    covariance = vectors @ np.diag(2 / np.maximum(values, 0.2)) @ vectors.T
    fits = [
        tuple(at(fit, theta, solved) for theta, (_, _, solved) in zip(thetas, way, strict=True))
        for thetas, way in ((moves, above), (opposite, below))
    ]
    return Neighbours(fit, data, free, fits[0], fits[1], covariance)


def at(fit: Fit, theta: np.ndarray, solved: Profile) -> Fit:
    """The same fit at other variances, its strays held as they are; solved: there, with its data."""
    ratio = solved.scale / fit.solved.scale
    return replace(fit, theta=theta, solved=solved, scale=fit.scale * ratio, inflation=fit.inflation * ratio)
