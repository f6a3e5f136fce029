"""What a law gets wrong belongs to the kind of use and not to the reading: all specimens that ran these blocks share it.

A law's losses L of the intervals of one kind of use depart from the true ones by a common share d of them, beside what single readings
and specimens do, so that

    covariance of the readings = readings + between specimens + tau^2 L L' within a kind of use,     d = 0 +- tau

Readings average out over many specimens, d does not: the law is known from so many kinds of use, each reading none the less counting
for what it tells (a mixed model's generalised least squares; to let chi2 count once a kind of use instead would throw away what the
specimens' readings tell of the rest). tau is the method's model_u, or what the kinds' own residuals ask for beyond it: with W the
inverse covariance less what the fitted parameters and the heat inputs take up, and D the losses by kind, [K, kinds],

    E[r' W D D' W r] = tr M + (tau^2 - tau_0^2) tr M^2,        M = D' W D, at the tau_0 that the covariance holds

which is one step of restricted maximum likelihood (Rao 1971's minimum norm quadratic estimate when taken once; from memory); the
effective number of independent departures in it is (tr M)^2 / tr M^2, at most the kinds less the parameters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.constants import Array
from pipeline.wear.chi2 import Problem, surface
from pipeline.wear.laws import between_energies, shapes

TOLD_BY = 1e-6  # of the kinds' losses, in their own noise: less than this left beside the parameters is rounding


@dataclass(frozen=True)
class Kinds:
    """Numbers [K] from 0 of the kind of use that each interval is of."""

    of: NDArray[np.int64]

    @classmethod
    def named(cls, blocks: Sequence[Sequence[str]]) -> Kinds:
        """By the blocks that each interval holds: sets of blocks that differ are kinds."""
        each = [frozenset(kind) for kind in blocks]
        known = list(dict.fromkeys(each))
        return cls(np.array([known.index(kind) for kind in each], np.int64))

    @classmethod
    def each(cls, count: int) -> Kinds:
        """Every interval a kind of its own."""
        return cls(np.arange(count, dtype=np.int64))

    @property
    def shared(self) -> bool:
        """Whether several intervals are of one kind."""
        return len(np.unique(self.of)) < len(self.of)

    def common(self, size: Array) -> Array:
        """Covariance [K, K] of what is common to a kind, of so large a share [K] in each interval."""
        return np.asarray((self.of[:, None] == self.of[None, :]) * np.outer(size, size), float)

    def split(self, loss: Array) -> Array:
        """Losses [K] by kind: [K, kinds]."""
        return np.asarray(loss[:, None] * (self.of[:, None] == np.unique(self.of)[None, :]), float)


def departure(problem: Problem, kinds: Kinds, held: float) -> float:
    """The share tau of a kind's loss by which the residuals say that the oxidation law departs; held: that in the covariance already."""
    grid = shapes(problem.law, problem.intervals.stops)
    terms = problem.terms(grid)
    found = surface(problem, grid, terms)
    i = int(np.clip(found.chi2.argmin(), 1, len(grid) - 2))
    parts = terms[i] * found.rates[i]
    slope = (terms[i + 1] - terms[i - 1]) @ found.rates[i]
    columns = [terms[i, :, 0], terms[i, :, 1], slope]
    z = np.zeros(0)
    if problem.intervals.warmth is not None:
        warmth = problem.intervals.warmth
        z, at = warmth.z, grid[i : i + 1]
        b, c = (between_energies(table, at)[:, 0] for table in (warmth.b, warmth.c))
        columns += [*(parts[:, 1] * (b + 2 * c * z[:, None]))]
    size = [max(float(np.abs(column).max()), 1e-300) for column in columns[:3]] + [1.0] * len(z)
    known = np.repeat([0.0, 1.0], [3, len(z)])  # each heat input as one more reading of 0 +- 1
    jacobian = problem.whiten(np.column_stack(columns) / size)
    target, split = problem.target - problem.whiten(parts.sum(axis=1)), problem.whiten(kinds.split(parts.sum(axis=1)))
    inverse = np.linalg.pinv(jacobian.T @ jacobian + np.diag(known))
    rest = target - jacobian @ (inverse @ (jacobian.T @ target - known * np.concatenate([np.zeros(3), z])))
    score = split.T @ rest
    across = jacobian.T @ split
    m = split.T @ split - across.T @ inverse @ across
    # Where each kind's loss is what the parameters can follow (one kind alone always is), nothing is left to tell tau by.
    left, trace = float(np.trace(m)), float((m * m).sum())
    if left <= TOLD_BY * float((split * split).sum()):
        return held
    return float(np.sqrt(max(held**2 + (float(score @ score) - left) / trace, 0.0)))
