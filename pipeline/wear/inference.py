"""Fitting one wear law to interval totals: best values, profile-likelihood intervals, what its predictions are made of.

The whole chi2 surface is laid out over a grid of shapes (`pipeline.wear.chi2`), its minima start the fitting routine,
intervals are read off profiles (`pipeline.wear.profiles`), and what the residuals show of the noise, or of the law's
own error, widens them (`pipeline.wear.misfit`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.wear.chi2 import Problem, Surface, best_rates, surface
from pipeline.wear.fit import Fit, least_squares, whitener
from pipeline.wear.laws import shapes, totals
from pipeline.wear.misfit import MISFIT_LEVEL, misfit, noise_scale, quantile, widened
from pipeline.wear.profiles import profile_interval


@dataclass(frozen=True)
class Inference:
    """A fitted law. intervals [p, 2] with NaN where open; chi2 by the readings' noise alone; roughness: share of an
    interval's loss by which the law is wrong, occasion_um: scatter common to an occasion's readings (0 where it fits
    without); minimum: chi2 of the problem as fitted, either in its covariance; scale: variance that its whitened
    residuals are judged by, with its dof, and dofs [p] those of each parameter (`freedoms`); fine: the surface it was read from; bare: the problem by the readings'
    noise alone (with what is common to an occasion), whose size is known with bare_dof; or_rough: the roughness that
    would explain the residuals nearly as well as occasion_um does (0 where it would not); converged: whether the
    fitting routine came to an end.
    """

    problem: Problem
    parameters: np.ndarray
    chi2: float
    dof: float
    misfit_p: float | None
    roughness: float
    minimum: float
    scale: float
    scale_dof: float
    dofs: np.ndarray
    intervals: np.ndarray
    fine: Surface
    bare: Problem
    bare_dof: float
    occasion_um: float = 0.0
    or_rough: float = 0.0
    converged: bool = True

    @property
    def widened(self) -> bool:
        return self.roughness > 0 or self.occasion_um > 0

    @property
    def closed(self) -> np.ndarray:
        return np.isfinite(self.intervals).all(axis=1)


def infer(problem: Problem, confidence: float) -> Inference:
    """Fit one law. Raises ValueError when the law has no shape to search over or its terms are all zero or unknown."""
    grid = shapes(problem.law, problem.intervals.stops)
    if not grid.size:
        raise ValueError("all stops have one temperature")
    terms = problem.terms(grid)
    wide = surface(problem, grid, terms)
    if not np.isfinite(wide.columns).all() or not (wide.columns != 0).any():
        raise ValueError("the stops lack what the law needs")
    fit = _polished(problem, wide)
    k, p = problem.size
    chi2, dof = min(fit.chi2, float(wide.chi2.min())), k - p - problem.spent
    misfit_p = misfit(chi2, dof, problem.noise_dof)
    roughness = occasion = or_rough = 0.0
    bare, bare_dof = problem, problem.noise_dof
    minimum = chi2
    if misfit_p is not None and (misfit_p < MISFIT_LEVEL or (problem.assumed and chi2 > dof)):
        roughness, occasion, or_rough, problem = widened(problem, grid, terms, dof)
        wide = surface(problem, grid, terms)
        fit = _polished(problem, wide)
        minimum = min(fit.chi2, float(wide.chi2.min()))
        scale, scale_dof = 1.0, min(float(dof), problem.between_dof)
    else:
        scale, scale_dof = noise_scale(chi2, dof, problem, confidence)
    if occasion:
        bare, bare_dof = problem, float(dof)
    fine = _refined(problem, wide, fit, scale)
    rest = float(dof) if roughness or occasion else float(dof) + problem.noise_dof
    dofs = freedoms(problem, fit.parameters, scale_dof, rest)
    limits = [minimum + scale * quantile(confidence, one) for one in dofs]
    intervals = np.array([profile_interval(problem, fine, fit.parameters, i, limits[i]) for i in range(p)])
    return Inference(
        problem,
        fit.parameters,
        chi2,
        dof,
        misfit_p,
        roughness,
        minimum,
        scale,
        scale_dof,
        dofs,
        intervals,
        fine,
        bare,
        bare_dof,
        occasion,
        or_rough,
        fit.converged,
    )


def freedoms(problem: Problem, parameters: np.ndarray, scale_dof: float, rest: float) -> np.ndarray:
    """Degrees of freedom [p] that each parameter's variance is known by (Welch 1947 and Satterthwaite 1946; JCGM 100:2008, G.4).

    The scatter between specimens has few, what is left of the covariance has `rest`, and how much of a parameter's variance is which
    differs: a rate is a specimen's, and its mean over some specimens hardly better known than their scatter; a shape is told within each specimen.
    Without scatter between specimens, or where the noise is only assumed: scale_dof.
    """
    p = len(parameters)
    if problem.between is None or problem.assumed or not np.isfinite(problem.between_dof):
        return np.full(p, scale_dof)
    law, n = problem.law, len(problem.law.rates)
    at = np.array([parameters[-1]]) if law.shape else np.zeros(1)
    columns = problem.terms(at)[0]
    if law.shape:
        h = 1e-4 * (law.limits[1] - law.limits[0])
        columns = np.column_stack(
            [columns, (np.diff(problem.terms(np.append(at - h, at + h)), axis=0)[0]) @ parameters[:n]]
        )
    columns = columns / np.maximum(np.abs(columns).max(axis=0), 1e-300)
    estimator = np.linalg.pinv(problem.whiten(columns)) @ problem.whiten(np.eye(len(problem.y)))
    whole = np.einsum("ij,jk,ik->i", estimator, problem.covariance, estimator)
    between = np.einsum("ij,jk,ik->i", estimator, problem.between, estimator)
    share = np.clip(np.divide(between, whole, out=np.ones(p), where=whole > 0), 0.0, 1.0)
    return np.asarray(1 / (share**2 / problem.between_dof + (1 - share) ** 2 / max(rest, 1.0)), float)


def _polished(problem: Problem, wide: Surface) -> Fit:
    """The fitting routine, started from the best minima of the surface; a transition stays where the grid has it."""
    law, n = problem.law, len(problem.law.rates)
    order = np.argsort(wide.chi2, kind="stable")
    if not law.shape or law.name == "two_regime":
        best = order[0]
        columns = totals(law, problem.intervals, wide.shapes[best : best + 1], problem.constants)[0]
        fit = least_squares(
            lambda x: columns @ x,
            problem.y,
            [wide.rates[best]],
            bounds=([0.0] * n, [np.inf] * n),
            covariance=problem.covariance,
        )
        if not law.shape:
            return fit
        return Fit(
            parameters=np.append(fit.parameters, wide.shapes[best]),
            covariance=np.pad(fit.covariance, (0, 1)),
            chi2=fit.chi2,
            dof=fit.dof - 1,
            at_bound=np.append(fit.at_bound, False),
            converged=fit.converged,
        )
    minima = [i for i in order if _local_minimum(wide.chi2, i)][:3]
    return least_squares(
        problem.model,
        problem.y,
        [_sharpened(problem, wide, minima)],
        bounds=([0.0] * n + [law.limits[0]], [np.inf] * n + [law.limits[1]]),
        covariance=problem.covariance,
    )


def _sharpened(problem: Problem, wide: Surface, minima: list[int]) -> list[float]:
    """Rates and shape of the lowest chi2 between the neighbours of these minima of the grid: where the fitting
    routine starts.
    """
    from scipy import optimize

    def chi2(shape: float) -> float:
        return float(surface(problem, np.array([shape])).chi2[0])

    best = wide.shapes[minima[0]], float(wide.chi2[minima[0]])
    for i in minima:
        ends = wide.shapes[max(i - 1, 0)], wide.shapes[min(i + 1, wide.shapes.size - 1)]
        found = optimize.minimize_scalar(chi2, bounds=ends, method="bounded", options={"xatol": 1e-7 * np.ptp(ends)})
        best = min(best, (float(found.x), float(found.fun)), key=lambda pair: pair[1])
    return [*surface(problem, np.array(best[:1])).rates[0], best[0]]


def _local_minimum(values: np.ndarray, i: int) -> bool:
    return (i == 0 or values[i] <= values[i - 1]) and (i == values.size - 1 or values[i] <= values[i + 1])


def _refined(problem: Problem, wide: Surface, fit: Fit, scale: float) -> Surface:
    """The surface with a fine stretch around the best shape, so that minima over its grid are sharp."""
    law = problem.law
    if not law.shape or law.name == "two_regime":
        return wide
    centre, error = fit.parameters[-1], np.sqrt(max(fit.covariance[-1, -1], 0.0) * scale)
    error = min(error if np.isfinite(error) and error > 0 else np.inf, (law.limits[1] - law.limits[0]) / 10)
    around = centre + error * np.linspace(-6, 6, 121)
    around = around[(around > law.limits[0]) & (around < law.limits[1])]
    return surface(problem, np.unique(np.concatenate([wide.shapes, around, [centre]])))


def left_out_errors(found: Inference, folds: np.ndarray) -> np.ndarray | None:
    """Each interval's loss less its prediction by a fit without its fold, [K] um; folds [K] numbers them.

    None where a fold leaves fewer intervals than parameters.
    """
    problem, values = found.problem, found.fine.shapes
    k, p = problem.size
    terms, errors = problem.terms(values), np.empty(k)
    for fold in np.unique(folds):
        out = folds == fold
        if (~out).sum() < p:
            return None
        whiten = whitener(problem.covariance[np.ix_(~out, ~out)])
        rates, chi2 = best_rates(whiten(terms[:, ~out]), whiten(problem.y[~out]))
        best = int(chi2.argmin())
        errors[out] = problem.y[out] - terms[best][out] @ rates[best]
    return errors
