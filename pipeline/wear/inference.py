"""Fitting one wear law to interval totals: best values, profile-likelihood intervals, joint draws.

For a fixed shape a law is linear in rates that may not be negative, which has a closed solution. So the whole chi2
surface is laid out over a grid of shapes, its minima start the fitting routine, and intervals are read off profiles
(chi2 minimised over all other parameters) instead of the curvature at the minimum: they are honest where a parameter is
loose, one-sided or at a bound, and open where the data do not close them.

The size of the noise: readings' repeats have their own degrees of freedom and are pooled with the residuals. Where the
residuals are too large for the readings' noise (1 % level; where that noise is only assumed: larger than it at all) one of
two things is given the size that they ask for, whichever is the likelier, and the intervals widen with it:

    occasion     a scatter common to all readings of one occasion, which repeats taken one after the other do not show (the zero
                 of a calliper, a seat, a warm part): it opposes the errors of neighbouring intervals
    roughness    a share of an interval's loss by which the law is wrong: independent from interval to interval

The loss that a roughness is a share of is the fitted one: a share of the observed loss would give the intervals that
happen to read low the most weight, and draw the rate down.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from pipeline.wear.fit import Fit, least_squares, whitener
from pipeline.wear.laws import Constants, Design, Law, shapes, totals

ASSUMED_NOISE_DOF = 4
MISFIT_LEVEL = 0.01
TOLD_APART = 4.0  # of -2 ln likelihood
ROUNDS = 3  # of fitted loss and roughness in turn


@dataclass(frozen=True)
class Problem:
    """One law on one component's intervals: y in um [K], its covariance [K, K], the noise's degrees of freedom.

    occasions: covariance [K, K] of y per unit variance of what is common to an occasion's readings, with occasion_most, the
    largest such scatter in um that the readings' own noise makes believable; None where it is not thought of. assumed: the
    noise's size is the method's, not the readings'. between_dof: degrees of freedom of the scatter between specimens
    that the covariance holds (residuals within specimens say nothing about it); infinite without.
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

    @cached_property
    def whiten(self):
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


@dataclass(frozen=True)
class Inference:
    """A fitted law. intervals [p, 2] with NaN where open; chi2 by the readings' noise alone; roughness: share of an interval's
    loss by which the law is wrong, occasion_um: scatter common to an occasion's readings (0 where it fits without);
    minimum: chi2 of the problem as fitted, either in its covariance; scale: variance that its whitened residuals are
    judged by, with its dof; fine: the surface it was read from; or_rough: the roughness that would explain the residuals
    nearly as well as occasion_um does (0 where it would not); converged: whether the fitting routine came to an end.
    """

    problem: Problem
    parameters: np.ndarray
    chi2: float
    dof: int
    misfit_p: float | None
    roughness: float
    minimum: float
    scale: float
    scale_dof: float
    intervals: np.ndarray
    fine: Surface
    occasion_um: float = 0.0
    or_rough: float = 0.0
    converged: bool = True

    @property
    def widened(self) -> bool:
        return self.roughness > 0 or self.occasion_um > 0

    @property
    def closed(self) -> np.ndarray:
        return np.isfinite(self.intervals).all(axis=1)


def best_rates(columns: np.ndarray, target: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Non-negative rates and chi2 for columns [S, K, 1 or 2] and a target [K]: ([S, rates], [S])."""
    norm = np.einsum("ski,skj->sij", columns, columns)
    side = np.einsum("ski,k->si", columns, target)
    total = float(target @ target)
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
    chi2, dof = min(fit.chi2, float(wide.chi2.min())), k - p
    misfit_p = misfit(chi2, dof, problem.noise_dof)
    roughness = occasion = or_rough = 0.0
    minimum = chi2
    if misfit_p is not None and (misfit_p < MISFIT_LEVEL or (problem.assumed and chi2 > dof)):
        roughness, occasion, or_rough, problem = _widened(problem, grid, terms, dof)
        wide = surface(problem, grid, terms)
        fit = _polished(problem, wide)
        minimum = min(fit.chi2, float(wide.chi2.min()))
        scale, scale_dof = 1.0, min(float(dof), problem.between_dof)
    else:
        scale, scale_dof = noise_scale(chi2, dof, problem, confidence)
    fine = _refined(problem, wide, fit, scale)
    limit = minimum + scale * _quantile(confidence, scale_dof)
    intervals = np.array([_interval(problem, fine, fit.parameters, i, limit) for i in range(p)])
    return Inference(
        problem, fit.parameters, chi2, dof, misfit_p, roughness, minimum, scale, scale_dof, intervals, fine, occasion,
        or_rough, fit.converged,
    )  # fmt: skip


def _widened(problem: Problem, grid: np.ndarray, terms: np.ndarray, dof: int) -> tuple[float, float, float, Problem]:
    """(roughness, occasion scatter in um, the roughness that the readings cannot tell that scatter from, the problem with the
    likelier of the two in its covariance); of the first two the other is 0."""
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


def _roughened(problem: Problem, grid: np.ndarray, terms: np.ndarray, dof: int) -> tuple[float, Problem]:
    """The roughness that brings chi2 down to its degrees of freedom, and the problem with it in the covariance."""
    least, share, rough = np.sqrt(np.diag(problem.covariance)), 0.0, problem
    for _ in range(ROUNDS):
        size = np.maximum(at_best(rough), least)
        share = _size(lambda s: _with(problem, np.diag((s * size) ** 2)), grid, terms, dof, 1e-4, 10.0)  # noqa: B023
        rough = _with(problem, np.diag((share * size) ** 2))
    return share, rough


def _scattered(problem: Problem, grid: np.ndarray, terms: np.ndarray, dof: int) -> tuple[float, Problem | None]:
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


def _size(widened, grid: np.ndarray, terms: np.ndarray, dof: int, low: float, high: float) -> float:
    """What has to go into `widened` for chi2 to come down to its degrees of freedom, by bisection in decades."""
    least, most = np.log10(low), np.log10(high)
    for _ in range(18):
        middle = (least + most) / 2
        over = surface(widened(10**middle), grid, terms).chi2.min() > dof
        least, most = (middle, most) if over else (least, middle)
    return float(10**most)


def at_best(problem: Problem) -> np.ndarray:
    """Losses per interval [K] by the law at the best shape of the search grid: a quick fit, for what needs no more.

    Raises ValueError as `infer` does.
    """
    grid = shapes(problem.law, problem.intervals.stops)
    if not grid.size:
        raise ValueError("all stops have one temperature")
    terms = problem.terms(grid)
    found = surface(problem, grid, terms)
    best = int(found.chi2.argmin())
    return terms[best] @ found.rates[best]


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


def misfit(chi2: float, dof: int, noise_dof: float) -> float | None:
    """p-value of residuals at least as large beside readings' noise known with noise_dof; None without residual dof."""
    from scipy import special

    if dof <= 0:
        return None
    if not np.isfinite(noise_dof):
        return float(special.chdtrc(dof, chi2))
    return float(special.fdtrc(dof, noise_dof, chi2 / dof))


def noise_scale(chi2: float, dof: int, problem: Problem, confidence: float) -> tuple[float, float]:
    """(variance that whitened residuals of a law that fits are judged by, its degrees of freedom).

    Noise that the readings show is pooled with the residuals. Noise that the method assumes tells nothing of the readings:
    there the residuals alone decide, unless the assumed noise asks for more. Scatter between specimens has its own dof.
    """
    if np.isfinite(problem.between_dof):
        return 1.0, problem.between_dof
    noise_dof = problem.noise_dof
    if dof <= 0 or not np.isfinite(noise_dof):
        return 1.0, noise_dof
    if problem.assumed:
        pairs = ((1.0, noise_dof), (chi2 / dof, float(dof)))
        return max(pairs, key=lambda pair: pair[0] * _quantile(confidence, pair[1]))
    return (noise_dof + chi2) / (noise_dof + dof), noise_dof + dof


def _quantile(confidence: float, dof: float) -> float:
    from scipy import special

    return float(special.fdtri(1, dof, confidence) if np.isfinite(dof) else special.chdtri(1, 1 - confidence))


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
    starts = [[*wide.rates[i], wide.shapes[i]] for i in minima]
    return least_squares(
        problem.model,
        problem.y,
        starts,
        bounds=([0.0] * n + [law.limits[0]], [np.inf] * n + [law.limits[1]]),
        covariance=problem.covariance,
    )


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


def _interval(problem: Problem, fine: Surface, best: np.ndarray, index: int, limit: float) -> tuple[float, float]:
    law = problem.law
    if law.shape and index == len(law.rates):
        if law.name == "two_regime":
            return _transition_interval(problem, fine, limit)
        profile = lambda v: float(surface(problem, np.array([v])).chi2[0])  # noqa: E731
        return (
            _crossing(profile, best[index], law.limits[0], limit),
            _crossing(profile, best[index], law.limits[1], limit),
        )
    profile = lambda v: _rate_profile(problem, fine, index, v)  # noqa: E731
    low = 0.0 if profile(0.0) <= limit else _crossing(profile, best[index], 0.0, limit)
    size = max(best[index], _rate_size(fine, index))
    return low, _crossing(profile, best[index], best[index] + 1000 * size, limit, size)


def _transition_interval(problem: Problem, fine: Surface, limit: float) -> tuple[float, float]:
    """From the last stop surely in the cold regime to the first surely in the hot one: in between nothing was braked."""
    inside = fine.shapes[fine.chi2 <= limit]
    known = problem.intervals.stops.temperature_c
    known = known[np.isfinite(known)]
    low = known[known < inside.min()].max() if inside.min() > fine.shapes[0] else np.nan
    high = known[known > inside.max()].min() if inside.max() < fine.shapes[-1] else np.nan
    return float(low), float(high)


def _rate_size(fine: Surface, index: int) -> float:
    """Size of a rate whose term alone would move chi2 by one, at the best shape."""
    column = fine.columns[fine.chi2.argmin(), :, index]
    return 1.0 / max(float(np.sqrt(column @ column)), 1e-300)


def _rate_profile(problem: Problem, fine: Surface, index: int, value: float) -> float:
    """Lowest chi2 over shapes and the other rate with rate `index` held at value."""
    rest = problem.target - fine.columns[:, :, index] * value
    if fine.columns.shape[2] == 1:
        return float((rest**2).sum(axis=1).min())
    other = fine.columns[:, :, 1 - index]
    side = (other * rest).sum(axis=1)
    gain = np.maximum(side, 0) ** 2 / np.maximum((other**2).sum(axis=1), 1e-300)
    return float(((rest**2).sum(axis=1) - gain).min())


def _crossing(profile, start: float, end: float, limit: float, size: float | None = None) -> float:
    """Where the profile passes the limit on the way from start to end; NaN where it does not (open)."""
    from scipy import optimize

    inside, step = start, (size or abs(end - start) / 40) * np.sign(end - start)
    while abs(inside - start) < abs(end - start) * (1 - 1e-12):
        outside = inside + step
        if abs(outside - start) >= abs(end - start):
            outside = end
        if profile(outside) > limit:
            return float(
                optimize.brentq(lambda v: profile(v) - limit, inside, outside, xtol=1e-9 * abs(outside) + 1e-15)
            )
        inside, step = outside, step * (1.6 if size else 1.0)
    return float("nan")
