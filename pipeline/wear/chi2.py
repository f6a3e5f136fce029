"""chi2 of a wear law on interval totals, laid out over the law's shape.

For a fixed shape a law is linear in rates that may not be negative, which has a closed solution; so chi2 at the best
rates is a curve over the shape (a single point for a law without one). Fits, intervals and draws are read from it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipeline.wear.fit import whitener
from pipeline.wear.laws import Constants, Design, Law, shapes, totals


@dataclass(frozen=True)
class Problem:
    """One law on one component's intervals: y in um [K], its covariance [K, K], the noise's degrees of freedom.

    occasions: covariance [K, K] of y per unit variance of what is common to an occasion's readings, with
    occasion_most, the largest such scatter in um that the readings' own noise makes believable; None where it is not
    thought of. between: the part [K, K] of the covariance that is scatter between specimens. assumed: the noise's size is the method's, not the readings'. between_dof: degrees of freedom of the
    scatter between specimens that the covariance holds (residuals within specimens say nothing about it); infinite
    without. spent: degrees of freedom that the heat inputs' setting took from the readings; pulled: its distance from what was known of
    them, squared (`pipeline.wear.heated`). departure: share of a kind of use's loss by which the law departs in the covariance
    (`pipeline.wear.kinds`).
    """

    law: Law
    intervals: Design
    constants: Constants
    y: np.ndarray
    covariance: np.ndarray
    noise_dof: float
    occasions: np.ndarray | None = None
    occasion_most: float = np.inf
    assumed: bool = False
    between_dof: float = np.inf
    between: np.ndarray | None = None
    spent: float = 0.0
    pulled: float = 0.0
    departure: float = 0.0

    @cached_property
    def whiten(self) -> Callable[[np.ndarray], np.ndarray]:
        return whitener(self.covariance)

    @cached_property
    def target(self) -> np.ndarray:
        return self.whiten(self.y)

    def terms(self, values: np.ndarray) -> np.ndarray:
        """The law's terms per interval for rates of one at these shapes: [shapes, K, rates]."""
        return totals(self.law, self.intervals, np.asarray(values, float), self.constants)

    def model(self, x: np.ndarray) -> np.ndarray:
        n = len(self.law.rates)
        return totals(self.law, self.intervals, x[n:] if self.law.shape else np.zeros(1), self.constants)[0] @ x[:n]

    @property
    def size(self) -> tuple[int, int]:
        """(intervals, parameters)"""
        return len(self.y), len(self.law.parameters)


@dataclass(frozen=True)
class Surface:
    """chi2 over a grid of shapes: shapes [S], columns [S, K, rates], rates [S, rates], chi2 [S]."""

    shapes: np.ndarray
    columns: np.ndarray
    rates: np.ndarray
    chi2: np.ndarray


def best_rates(columns: np.ndarray, target: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Non-negative rates and chi2 for columns [S, K, 1 or 2] and a target [K] or [S, K]: ([S, rates], [S])."""
    target = np.broadcast_to(target, columns.shape[:2])
    norm = np.einsum("ski,skj->sij", columns, columns)
    side = np.einsum("ski,sk->si", columns, target)
    total = np.einsum("sk,sk->s", target, target)[:, None]
    alone = np.maximum(side, 0) / np.maximum(np.einsum("sii->si", norm), 1e-300)
    alone_chi2 = total - alone * np.maximum(side, 0)
    if columns.shape[2] == 1:
        return alone, alone_chi2[:, 0]
    det = norm[:, 0, 0] * norm[:, 1, 1] - norm[:, 0, 1] ** 2
    usable = det > 1e-12 * norm[:, 0, 0] * norm[:, 1, 1]
    safe = np.where(usable, det, 1.0)
    both = np.stack(
        [
            norm[:, 1, 1] * side[:, 0] - norm[:, 0, 1] * side[:, 1],
            norm[:, 0, 0] * side[:, 1] - norm[:, 0, 1] * side[:, 0],
        ],
        axis=1,
    )
    both /= safe[:, None]
    usable &= (both >= 0).all(axis=1)
    residual = target - np.einsum("ski,si->sk", columns, both)
    both_chi2 = np.where(usable, (residual**2).sum(axis=1), np.inf)
    single = alone_chi2.argmin(axis=1)
    edge = np.zeros_like(both)
    rows = np.arange(len(edge))
    edge[rows, single] = alone[rows, single]
    edge_chi2 = alone_chi2[rows, single]
    inside = both_chi2 <= edge_chi2
    return np.where(inside[:, None], both, edge), np.where(inside, both_chi2, edge_chi2)


def surface(problem: Problem, values: np.ndarray, terms: np.ndarray | None = None) -> Surface:
    """chi2 over these shapes; terms: `problem.terms(values)` where already at hand."""
    columns = problem.whiten(problem.terms(values) if terms is None else terms)
    rates, chi2 = best_rates(columns, problem.target)
    return Surface(values, columns, rates, chi2)


def at_best(problem: Problem) -> np.ndarray:
    """Losses per interval [K] by the law at the best shape of the search grid: a quick fit, for what needs no more.

    Raises ValueError as `infer` does.
    """
    return parts_at_best(problem).sum(axis=1)


def parts_at_best(problem: Problem) -> np.ndarray:
    """The same by the parts of the law, one for each of its rates: [K, rates]."""
    grid = shapes(problem.law, problem.intervals.stops)
    if not grid.size:
        raise ValueError("all stops have one temperature")
    terms = problem.terms(grid)
    found = surface(problem, grid, terms)
    best = int(found.chi2.argmin())
    return np.asarray(terms[best] * found.rates[best])
