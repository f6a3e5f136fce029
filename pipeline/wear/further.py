"""A further use beside the mean of those that a law was fitted to: draws of the factor by which it departs from the
law.

Intervals that differ by more than their readings' noise show that a law, or a measured rate, leaves something out;
what the next use wears lies about the law's figure by that scatter tau (a prediction interval of random effects), and
few intervals, or noisy ones, do not pin tau: a fit without visible misfit does not show that there is none. So tau is
drawn from its confidence distribution (Nagashima, Noma & Furukawa, Stat Methods Med Res 28, 2019): the tau at which
the residuals' chi2 would be

    Q(tau) = dof F,      F a draw of Fisher's F(dof, the noise's own degrees of freedom)

with tau^2 (fitted loss)^2 added to the readings' covariance; 0 where Q(0) is less. What a law leaves out belongs to
the use and not to the reading: intervals of one kind of use (the same blocks, of any test) share it. So it is asked
of the kinds' totals too, with their fewer degrees of freedom, and the larger answer counts. A rate can't be negative:
the factor is lognormal, of median 1.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace

import numpy as np

from pipeline.wear.chi2 import Problem, surface
from pipeline.wear.inference import Inference
from pipeline.wear.joint import DRAWS
from pipeline.wear.laws import shapes

TAUS = np.concatenate([[0.0], np.geomspace(0.002, 3.0, 40)])


def departures(found: Inference, kinds: Sequence[Hashable]) -> np.ndarray:
    """Factors [DRAWS] of equal weight; kinds: of each interval what use it holds. All 1 where no residual can show a
    scatter.
    """
    k, p = found.problem.size
    loss = found.problem.model(found.parameters)
    scatter = _scatter(found.bare, loss, k - p, found.bare_dof)
    squared = scatter**2
    named = list(dict.fromkeys(kinds))
    if p < len(named) < k:
        sums = np.array([[one == kind for one in kinds] for kind in named], float)
        of_kinds = _scatter(_summed(found.bare, sums), sums @ loss, len(named) - p, found.bare_dof)
        # The law itself is known from so many kinds only, not from so many intervals.
        shared = of_kinds**2 * (1 + 1 / len(named) - 1 / k)
        squared = np.maximum(squared, shared)
    normal = np.random.default_rng(2).permutation(_normal(_even()))
    return np.exp(np.sqrt(np.log1p(squared)) * normal)


def _scatter(problem: Problem, loss: np.ndarray, dof: int, noise_dof: float) -> np.ndarray:
    """tau at even quantiles [DRAWS] in a fixed shuffled order; 0 without degrees of freedom."""
    if dof <= 0:
        return np.zeros(DRAWS)
    grid = shapes(problem.law, problem.intervals.stops)
    terms = problem.terms(grid)
    size = np.maximum(loss, np.sqrt(np.diag(problem.covariance)))
    chi2 = np.array(
        [
            surface(
                replace(problem, covariance=problem.covariance + np.diag((tau * size) ** 2)), grid, terms
            ).chi2.min()
            for tau in TAUS
        ]
    )
    wanted = dof * _fisher(_even(), dof, noise_dof)
    return np.random.default_rng(3).permutation(np.interp(-wanted, -chi2, TAUS))


def _summed(problem: Problem, sums: np.ndarray) -> Problem:
    """The problem of sums of intervals [kinds, K]."""
    whole = problem.intervals
    return replace(
        problem,
        intervals=whole.grouped(sums),
        y=sums @ problem.y,
        covariance=sums @ problem.covariance @ sums.T,
        occasions=None,
        between=None,
    )


def _even() -> np.ndarray:
    return (np.arange(DRAWS) + 0.5) / DRAWS


def _normal(quantile: np.ndarray) -> np.ndarray:
    from scipy import special

    return np.asarray(special.ndtri(quantile))


def _fisher(quantile: np.ndarray, dof: float, noise_dof: float) -> np.ndarray:
    from scipy import special

    if not np.isfinite(noise_dof):
        return np.asarray(2 * special.gammaincinv(dof / 2, quantile) / dof)
    return np.asarray(special.fdtri(dof, noise_dof, quantile))
