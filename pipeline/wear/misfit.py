"""Size of the noise that a law's residuals are judged by, and what they ask for beside it.

Readings' repeats have their own degrees of freedom and are pooled with the residuals. Where the residuals are too
large for the readings' noise (1 % level; where that noise is only assumed: larger than it at all) one of two things
is given the size that they ask for, whichever is the likelier, and the intervals widen with it:

    occasion     a scatter common to all readings of one occasion, which repeats taken one after the other do not show
                 (the zero of a calliper, a seat, a warm part): it opposes the errors of neighbouring intervals
    roughness    a share of an interval's loss by which the law is wrong: independent from interval to interval

The loss that a roughness is a share of is the fitted one: a share of the observed loss would give the intervals that
happen to read low the most weight, and draw the rate down.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from pipeline.wear.chi2 import Problem, at_best, surface

ASSUMED_NOISE_DOF = 4
MISFIT_LEVEL = 0.01
TOLD_APART = 4.0  # of -2 ln likelihood
ROUNDS = 3  # of fitted loss and roughness in turn


def misfit(chi2: float, dof: float, noise_dof: float) -> float | None:
    """p-value of residuals at least as large beside readings' noise known with noise_dof; None without residual dof."""
    from scipy import special

    if dof <= 0:
        return None
    if not np.isfinite(noise_dof):
        return float(special.chdtrc(dof, chi2))
    return float(special.fdtrc(dof, noise_dof, chi2 / dof))


def noise_scale(chi2: float, dof: float, problem: Problem, confidence: float) -> tuple[float, float]:
    """(variance that whitened residuals of a law that fits are judged by, its degrees of freedom).

    Noise that the readings show is pooled with the residuals. Noise that the method assumes tells nothing of the
    readings: there the residuals alone decide, unless the assumed noise asks for more. Scatter between specimens has
    its own dof.
    """
    if np.isfinite(problem.between_dof):
        return 1.0, problem.between_dof
    noise_dof = problem.noise_dof
    if dof <= 0 or not np.isfinite(noise_dof):
        return 1.0, noise_dof
    if problem.assumed:
        pairs = ((1.0, noise_dof), (chi2 / dof, float(dof)))
        return max(pairs, key=lambda pair: pair[0] * quantile(confidence, pair[1]))
    return (noise_dof + chi2) / (noise_dof + dof), noise_dof + dof


def quantile(confidence: float, dof: float) -> float:
    """Of one parameter's rise of chi2 over the variance it is judged by: F(1, dof), or chi2(1) for unlimited dof."""
    from scipy import special

    return float(special.fdtri(1, dof, confidence) if np.isfinite(dof) else special.chdtri(1, 1 - confidence))


def widened(problem: Problem, grid: np.ndarray, terms: np.ndarray, dof: float) -> tuple[float, float, float, Problem]:
    """(roughness, occasion scatter in um, the roughness that the readings cannot tell that scatter from, the problem
    with the likelier of the two in its covariance); of the first two the other is 0.

    grid: [shapes] of the law; terms: [shapes, intervals, rates]; dof: of the fit.
    """
    share, rough = _roughened(problem, grid, terms, dof)
    scatter, scattered = _scattered(problem, grid, terms, dof)
    if scattered is None:
        return share, 0.0, 0.0, rough
    less = _deviance(rough, grid, terms) - _deviance(scattered, grid, terms)
    if less < 0:
        return share, 0.0, 0.0, rough
    return 0.0, scatter, share if less < TOLD_APART else 0.0, scattered


def _deviance(problem: Problem, grid: np.ndarray, terms: np.ndarray) -> float:
    """-2 ln of the greatest likelihood, up to a constant."""
    return float(surface(problem, grid, terms).chi2.min() + np.linalg.slogdet(problem.covariance)[1])


def _roughened(problem: Problem, grid: np.ndarray, terms: np.ndarray, dof: float) -> tuple[float, Problem]:
    """The roughness that brings chi2 down to its degrees of freedom, and the problem with it in the covariance."""
    least, share, rough = np.sqrt(np.diag(problem.covariance)), 0.0, problem
    for _ in range(ROUNDS):
        size = np.maximum(at_best(rough), least)
        share = _size(lambda s: _with(problem, np.diag((s * size) ** 2)), grid, terms, dof, 1e-4, 10.0)  # noqa: B023
        rough = _with(problem, np.diag((share * size) ** 2))
    return share, rough


def _scattered(problem: Problem, grid: np.ndarray, terms: np.ndarray, dof: float) -> tuple[float, Problem | None]:
    """The same by a scatter common to an occasion's readings; None where that cannot be, or cannot be believed."""
    if problem.occasions is None:
        return 0.0, None
    shape, unit = problem.occasions, float(np.sqrt(np.diag(problem.covariance).max()))
    scatter = _size(lambda s: _with(problem, s**2 * shape), grid, terms, dof, 1e-4 * unit, 1e4 * unit)
    if scatter > problem.occasion_most:
        return 0.0, None
    return scatter, _with(problem, scatter**2 * shape)


def _with(problem: Problem, further: np.ndarray) -> Problem:
    return replace(problem, covariance=problem.covariance + further)


def _size(
    wider: Callable[[float], Problem], grid: np.ndarray, terms: np.ndarray, dof: float, low: float, high: float
) -> float:
    """What has to go into `wider` for chi2 to come down to its degrees of freedom, by bisection in decades."""
    least, most = np.log10(low), np.log10(high)
    for _ in range(18):
        middle = (least + most) / 2
        over = surface(wider(10**middle), grid, terms).chi2.min() > dof
        least, most = (middle, most) if over else (least, middle)
    return float(10**most)
