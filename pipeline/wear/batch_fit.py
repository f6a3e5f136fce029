"""A law's rates by batch: one shape for the compound, rates of their own for each batch.

Batches of one compound differ in how fast a mechanism runs, and seldom in what it depends on: the activation energy is
the carbon's, abrasion and the rate of oxidation are the densification's. So the shape is common, and the rates are each
batch's, fitted to its own specimens' intervals with the scatter between specimens about it (`between_specimens`):

    chi2(shape) = sum over batches of min over its rates of chi2_b(shape, rates)

A batch whose readings cannot tell the parts apart (one program, few readings) knows their sum in the mix that it ran,
and nothing of another. There what is expected of batches decides: the factors f of its two parts over the compound's
law differ by `apart` (a standard deviation),

    (f_1 - f_2) / apart = 0 +- 1        as one more reading of every batch

which scales both parts by one factor, and whose uncertainty grows as the mix departs from the one it ran. Where the
readings tell the parts to a few per cent it moves nothing: by (5 % / 30 %)^2 = 3 % of their difference.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.wear.between_specimens import ROUNDS, SCATTER_DOF, Factors, between, part_factors, part_scatter
from pipeline.wear.chi2 import best_rates
from pipeline.wear.fit import whitener
from pipeline.wear.inference import Inference
from pipeline.wear.joint import rate_draws, shape_draws, variances

LEAST_RATE = 1e-3  # of the compound's rate at its best shape: what a factor is taken over where that is nil


@dataclass(frozen=True)
class BatchFit:
    """One batch: parameters [p] and their draws [DRAWS, p]; factors [parts] of its rates over the compound's at the same
    shape and their draws [DRAWS, parts]; chi2 by readings and specimens' scatter, of so many dof; apart: standard
    uncertainty of the difference of its factors by its own readings, infinite where they do not tell it, 0 with one part.
    """

    parameters: np.ndarray
    sets: np.ndarray
    factors: np.ndarray
    factor_sets: np.ndarray
    chi2: float
    dof: int
    apart: float


@dataclass(frozen=True)
class ByBatch:
    """All batches, in the order of their numbers; own: each specimen's parts over its batch's law, by its readings
    alone, in the order of the specimens' numbers; scatter [parts, parts] between specimens of a batch, with its dof."""

    batches: list[BatchFit]
    own: Factors
    scatter: np.ndarray
    dof: float


def by_batch(found: Inference, of_batch: np.ndarray, of_specimen: np.ndarray, expected: float, apart: float) -> ByBatch:
    """The law `found` over all specimens, fitted by batch.

    of_batch, of_specimen: [K] numbers from 0 of what each interval is of; expected: the method's scatter between
    specimens, 1; apart: how far a batch's factors are expected to differ, 1.
    """
    problem, shapes = found.problem, found.fine.shapes
    readings = problem.covariance - (0.0 if problem.between is None else problem.between)
    terms = problem.terms(shapes)
    best = int(found.fine.chi2.argmin())
    reference = np.maximum(found.fine.rates, LEAST_RATE * found.fine.rates[best] + 1e-300)
    batch_of = np.array([of_batch[of_specimen == s][0] for s in np.unique(of_specimen)])
    numbers = np.unique(of_batch)
    ratio = np.ones((len(numbers), reference.shape[1]))
    for _ in range(ROUNDS):
        own = terms[best] * reference[best] * ratio[of_batch]
        each = part_factors(readings, problem.y, own, of_specimen)
        scatter = part_scatter(each, expected, batch_of)
        covariance = readings + between(own, scatter, of_specimen)
        each_batch = [_over_shapes(covariance, problem.y, terms, reference, of_batch == b, apart) for b in numbers]
        chi2 = np.sum([one.chi2 for one in each_batch], axis=0)
        best = int(chi2.argmin())
        ratio = np.maximum(np.array([one.rates[best] / reference[best] for one in each_batch]), LEAST_RATE)
    dof = float(SCATTER_DOF + len(batch_of) - len(numbers))
    if found.widened:
        dof = max(1.0, min(dof, found.dof - (len(numbers) - 1) * reference.shape[1]))
    rng = np.random.default_rng(4)
    shaped = bool(problem.law.shape)
    index = shape_draws(shapes, chi2 - chi2[best], 1.0, float(found.dofs[-1]) if shaped else dof, rng)
    wide = variances(1.0, dof, rng)
    fits = [_fit(shapes, one, reference, best, index, wide, rng, shaped=shaped) for one in each_batch]
    relative = terms[best] * reference[best] * ratio[of_batch]
    return ByBatch(fits, part_factors(readings, problem.y, relative, of_specimen), scatter, dof)


@dataclass(frozen=True)
class _One:
    """One batch's whitened problem over the shapes [S]: columns [S, K, parts], target [K], best rates [S, parts], chi2 [S];
    `expected`: whether the last row is not a reading."""

    columns: np.ndarray
    target: np.ndarray
    rates: np.ndarray
    chi2: np.ndarray
    expected: bool


def _over_shapes(
    covariance: np.ndarray, y: np.ndarray, terms: np.ndarray, reference: np.ndarray, inside: np.ndarray, apart: float
) -> _One:
    whiten = whitener(covariance[np.ix_(inside, inside)])
    columns, target = whiten(terms[:, inside]), whiten(y[inside])
    two = reference.shape[1] == 2
    if two:
        row = np.array([1.0, -1.0]) / (reference * apart)
        columns, target = np.concatenate([columns, row[:, None]], axis=1), np.append(target, 0.0)
    return _One(columns, target, *best_rates(columns, target), two)


def _fit(
    shapes: np.ndarray,
    of: _One,
    reference: np.ndarray,
    best: int,
    index: np.ndarray,
    wide: np.ndarray,
    rng: np.random.Generator,
    *,
    shaped: bool,
) -> BatchFit:
    rates = rate_draws(of.columns[index], of.target, np.sqrt(wide), rng)
    readings = len(of.target) - of.expected
    return BatchFit(
        parameters=np.append(of.rates[best], shapes[best]) if shaped else of.rates[best],
        sets=np.column_stack([rates, shapes[index]]) if shaped else rates,
        factors=of.rates[best] / reference[best],
        factor_sets=rates / reference[index],
        chi2=float(of.chi2[best]),
        dof=readings - of.rates.shape[1],
        apart=_told_apart(of.columns[best, :readings] * of.rates[best]) if of.expected else 0.0,
    )


def _told_apart(parts: np.ndarray) -> float:
    """Standard uncertainty of the difference of two factors by whitened losses by part [K, 2]; infinite where untold."""
    norm = parts.T @ parts
    det = norm[0, 0] * norm[1, 1] - norm[0, 1] ** 2
    if not det > 1e-9 * norm[0, 0] * norm[1, 1]:
        return float("inf")
    return float(np.sqrt((norm[0, 0] + norm[1, 1] + 2 * norm[0, 1]) / det))
