"""Bands over specimens: the variances between few specimens integrated over, not put at their best estimate.

From two or three specimens the variance between them is hardly known, and no single number of degrees of
freedom does it justice: small estimates would come with false certainty. So the log variances of the random
factors are drawn from their penalised likelihood (quasi-random importance sampling, every draw a solved fit);
what is left of the uncertainty, in the scatter and the curve of a specimen, enters each draw through its
degrees of freedom. Quantiles over all draws give the mean band; the tolerance band is as wide as holds
`coverage` of single stops in `confidence` of the draws (the definition that `pipeline.friction.tolerance`
solves in closed form for one specimen).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from pipeline.friction import likelihood
from pipeline.friction.freedom import Neighbours, at
from pipeline.friction.likelihood import GROUPS
from pipeline.friction.model import Fit
from pipeline.friction.tolerance import coverage_quantile

FITS, PER_FIT = 96, 24
CURVES = 600
FARTHEST = 20.0  # logarithm of mu beyond which a drawn curve is no friction
WIDER = 1.4  # proposal over the likelihood's own width


@dataclass(frozen=True)
class Draws:
    """Fits at drawn variances with their weights (sum 1)."""

    fits: tuple[Fit, ...]
    weight: np.ndarray


def thinned(drawn: Draws, most: int) -> Draws:
    """Every so many of the fits, `most` at most, their weights summing to 1 again: quasi-random points stay even so."""
    step = -(-len(drawn.fits) // most)
    weight = drawn.weight[::step]
    return Draws(drawn.fits[::step], weight / weight.sum())


@dataclass(frozen=True)
class Samples:
    """Samples over a grid of temperatures, shape (samples, grid), link units: error of the mean, variance of
    a single future stop; `weight` (samples,) sums to 1.
    """

    error: np.ndarray
    variance: np.ndarray
    weight: np.ndarray


def normal_points(count: int, dimensions: int) -> np.ndarray:
    """Quasi-random standard normal points, shape (count, dimensions): scipy's Halton sequence without its first
    point, the corner of the cube, whose quantile is infinite; not scrambled, so that a run repeats.
    """
    from scipy.stats import qmc

    sequence = qmc.Halton(dimensions, scramble=False)
    sequence.fast_forward(1)
    return special.ndtri(sequence.random(count))


def draws(near: Neighbours) -> Draws:
    """Fits at drawn variances of the random factors; the fit itself where it has none."""
    fit = near.fit
    specimens = [k for k, group in enumerate(fit.data.groups) if group.of == "specimen"]
    which = GROUPS.start + np.array(specimens, int)
    which = which[np.isin(which, near.free)]
    if which.size == 0:
        return Draws((fit,), np.ones(1))
    rows = np.searchsorted(near.free, which)
    root = np.linalg.cholesky(near.covariance[np.ix_(rows, rows)])
    points = normal_points(FITS, which.size)
    data = near.data
    best = likelihood.penalised_value(data, fit.theta)
    limits = np.array(likelihood.bounds(data))
    fits, log_weight = [], []
    for x in points:
        theta = fit.theta.copy()
        theta[which] = np.clip(theta[which] + WIDER * root @ x, limits[which, 0], limits[which, 1])
        fits.append(at(fit, theta, likelihood.solve(data, theta)))
        value = fits[-1].solved.criterion + likelihood.prior(data, theta)[0]
        log_weight.append(-(value - best) / 2 + x @ x / 2)
    weight = np.exp(np.array(log_weight) - max(log_weight))
    return Draws(tuple(fits), weight / weight.sum())


def samples(
    drawn: Draws,
    near: Neighbours,
    temperature: np.ndarray,
    x: np.ndarray,
    common: np.ndarray,
    curve_dof: np.ndarray,
    seed: int = 0,
) -> Samples:
    """Joint samples at temperatures (K) and effects x (grid, effects); `common` (grid,) is the standard uncertainty from
    calibration, link units, `curve_dof` (grid,) are the degrees of freedom of the mean's variance, the random factors' known.

    One standard normal a sample moves the whole curve: the samples hold at each temperature, not between
    temperatures.
    """
    rng = np.random.default_rng(seed)
    centre = near.fit.row(temperature, x) @ near.fit.solved.coefficients
    stop_dof = near.both_degrees(lambda f: f.scatter(f.argument(temperature, x)) ** 2)[1]
    strata = special.ndtri((np.arange(PER_FIT) + 0.5) / PER_FIT)
    errors, variances = [], []
    for fit in drawn.fits:
        rows, at = fit.row(temperature, x), fit.argument(temperature, x)
        v = (fit.variance(rows) + fit.lack_of_fit(at)) * lognormal(curve_dof, rng.permutation(strata))
        off = rows @ fit.solved.coefficients - centre
        errors.append(off + np.sqrt(v + common**2) * strata[:, None])
        variances.append(fit.scatter(at) ** 2 * lognormal(stop_dof, rng.permutation(strata)) + fit.between(at))
    return Samples(np.vstack(errors), np.vstack(variances), np.repeat(drawn.weight, PER_FIT) / PER_FIT)


@dataclass(frozen=True)
class Curves:
    """Whole curves drawn over a grid (samples, grid): mu, variance of a single stop (link units), weights
    summing to 1.
    """

    mu: np.ndarray
    z: np.ndarray
    variance: np.ndarray
    weight: np.ndarray


def curves(
    drawn: Draws, near: Neighbours, link: str, temperature: np.ndarray, x: np.ndarray, common: float, seed: int = 0
) -> Curves:
    """Curves as functions of temperature (K) at effects x (grid, effects), each of one piece, so that a crossing or a
    steepest place is one curve's.

    `common` is the relative standard uncertainty from calibration, one draw a curve; what the map misses is one draw a curve too.
    """
    rng = np.random.default_rng(seed)
    t, each = temperature, max(CURVES // len(drawn.fits), 4)
    dof = float(np.median(near.both_degrees(lambda f: f.variance(f.row(t, x)))[1]))
    stop_dof = float(np.median(near.both_degrees(lambda f: f.scatter(f.argument(t, x)) ** 2)[1]))
    zs, variances = [], []
    for fit in drawn.fits:
        rows, at = fit.row(t, x), fit.argument(t, x)
        used = np.flatnonzero(rows.any(axis=0))
        own = fit.solved.inverse[np.ix_(used, used)]
        root = np.linalg.cholesky(own + 1e-12 * np.diag(np.diag(own)))
        wander = rng.normal(size=(each, root.shape[0])) @ root.T @ rows[:, used].T * np.sqrt(fit.inflation)
        # an ill-known variance widens the draws alike at all temperatures of a draw
        wander = wander * np.sqrt(dof / rng.chisquare(dof, each))[:, None]
        wander = wander + np.sqrt(fit.lack_of_fit(at)) * rng.normal(size=(each, 1))
        zs.append(rows @ fit.solved.coefficients + wander)
        stops = fit.scatter(at) ** 2 * (stop_dof / rng.chisquare(stop_dof, each))[:, None]
        variances.append(stops + fit.between(at))
    z, factor = np.vstack(zs), 1 + common * rng.normal(size=(each * len(drawn.fits), 1))
    z = z + np.log(np.maximum(factor, 0.1)) if link == "log" else z * factor
    z = np.clip(z, -FARTHEST, FARTHEST) if link == "log" else z
    return Curves(np.exp(z) if link == "log" else z, z, np.vstack(variances), np.repeat(drawn.weight, each) / each)


def interval(values: np.ndarray, weight: np.ndarray, confidence: float) -> tuple[float, float]:
    """Central interval of weighted draws."""
    column = values[:, None]
    low, high = (float(weighted_quantile(column, weight, (1 + way * confidence) / 2)[0]) for way in (-1, 1))
    return low, high


def lognormal(dof: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Draws of true over estimated variance with `dof` degrees of freedom, shape (len(z), len(dof))."""
    spread = 2 / dof
    return np.exp(spread / 2 + np.sqrt(spread) * z[:, None])


def mean_half_width(drawn: Samples, confidence: float) -> np.ndarray:
    """Half width of the mean band at each temperature, link units."""
    return weighted_quantile(np.abs(drawn.error), drawn.weight, confidence)


def tolerance_half_width(drawn: Samples, coverage: float, confidence: float) -> np.ndarray:
    """Half width that holds `coverage` of single future stops in `confidence` of the samples, link units."""
    sd = np.sqrt(drawn.variance)
    offsets = np.linspace(0.0, 12.0, 600)
    needed = np.interp(np.abs(drawn.error) / sd, offsets, coverage_quantile(coverage, offsets)) * sd
    return weighted_quantile(needed, drawn.weight, confidence)


def weighted_quantile(values: np.ndarray, weight: np.ndarray, share: float) -> np.ndarray:
    """Quantile of each column, rows weighted."""
    order = np.argsort(values, axis=0)
    below = np.cumsum(weight[order], axis=0)
    at_row = np.minimum((below < share).sum(axis=0), len(values) - 1)
    return values[order[at_row, np.arange(values.shape[1])], np.arange(values.shape[1])]
