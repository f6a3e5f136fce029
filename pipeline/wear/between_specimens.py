"""How much specimens of one compound differ: the factor of each on each part of a law's loss, and the scatter of these.

A law's loss has as many parts as the law has rates: oxidation's are the mechanical and the oxidative one. What sets
specimens apart sets them apart in each by its own: a denser disc rubs off less and need not oxidise less. One factor on
the whole loss would call a specimen whose abrasion alone differs a misfit of the law in every block of another mix. So
the covariance of a specimen's intervals is that of its readings plus

    P T P',      P [K, parts] the law's own losses by part, T [parts, parts] the scatter of the factors

T is the moment estimate from the specimens' own factors (DerSimonian & Laird 1986), drawn towards the method's
expected scatter, which counts as a few degrees of freedom: two specimens alone say next to nothing about scatter. Of
how the parts go together nothing is known beforehand, from not at all to as one: the expectation is halfway.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.wear.chi2 import Problem, parts_at_best

SCATTER_DOF = 4  # what the method's expected scatter counts for
ROUNDS = 3
TOGETHER = 0.5  # expected correlation of the parts' factors
MOST_TOGETHER = 0.99
UNKNOWN = 1.0  # standard uncertainty of a factor that the readings do not tell


@dataclass(frozen=True)
class Factors:
    """Each specimen's parts over the law's: value [n, parts], covariance [n, parts, parts] by the readings alone."""

    value: np.ndarray
    covariance: np.ndarray


def factors(problem: Problem, predicted: np.ndarray, of_test: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(factor, variance) of each test's losses over the law's predicted ones [K], by the readings' covariance."""
    value, variance = [], []
    for t in np.unique(of_test):
        inside = of_test == t
        weighted = np.linalg.solve(problem.covariance[np.ix_(inside, inside)], predicted[inside])
        size = max(float(weighted @ predicted[inside]), 1e-12)
        value.append(float(weighted @ problem.y[inside]) / size)
        variance.append(1.0 / size)
    return np.array(value), np.array(variance)


def part_factors(covariance: np.ndarray, y: np.ndarray, parts: np.ndarray, of_specimen: np.ndarray) -> Factors:
    """Factors of every specimen's own readings.

    covariance: [K, K] of the losses y [K] by the readings; parts: [K, parts] of the law; of_specimen: [K] numbers them.
    What the readings do not tell stays at 1 with the standard uncertainty UNKNOWN, beside which what they tell is nothing.
    """
    values, covariances = [], []
    for s in np.unique(of_specimen):
        inside = of_specimen == s
        own = parts[inside]
        weighted = np.linalg.solve(covariance[np.ix_(inside, inside)], own)
        information = own.T @ weighted + np.eye(own.shape[1]) / UNKNOWN**2
        spread = np.linalg.inv(information)
        values.append(spread @ (weighted.T @ y[inside] + 1 / UNKNOWN**2))
        covariances.append(spread)
    return Factors(np.array(values), np.array(covariances))


def scatter_of(
    value: np.ndarray, variance: np.ndarray, expected: float, groups: Sequence[int] | np.ndarray | None = None
) -> float:
    """Standard deviation between specimens from factors and their variances, drawn towards the expected one.

    By moments (DerSimonian and Laird 1986, from memory). value: (n,) factor of each specimen about the law, 1;
    variance: (n,) of the factors; expected: the method's scatter, 1; groups: (n,) within which they scatter.
    """
    found, dof = _moment(value, value, variance, variance, variance, groups)
    return float(np.sqrt((SCATTER_DOF * expected**2 + dof * max(0.0, found)) / (SCATTER_DOF + dof)))


def part_scatter(of: Factors, expected: float, groups: Sequence[int] | np.ndarray | None = None) -> np.ndarray:
    """T [parts, parts]; see the module's text. groups: [n] within which specimens scatter (batches)."""
    parts = of.value.shape[1]
    variance = np.einsum("nii->ni", of.covariance)
    sd = np.array([scatter_of(of.value[:, i], variance[:, i], expected, groups) for i in range(parts)])
    if parts == 1:
        return np.array([[sd[0] ** 2]])
    x, y = of.value[:, 0], of.value[:, 1]
    found, dof = _moment(x, y, variance[:, 0], variance[:, 1], of.covariance[:, 0, 1], groups)
    product = sd[0] * sd[1]
    cross = (SCATTER_DOF * TOGETHER * expected**2 + dof * found) / (SCATTER_DOF + dof)
    cross = float(np.clip(cross, -MOST_TOGETHER * product, MOST_TOGETHER * product))
    return np.array([[sd[0] ** 2, cross], [cross, sd[1] ** 2]])


def _moment(
    x: np.ndarray,
    y: np.ndarray,
    x_variance: np.ndarray,
    y_variance: np.ndarray,
    common: np.ndarray,
    groups: Sequence[int] | np.ndarray | None,
) -> tuple[float, int]:
    """(covariance of x and y between specimens of a group, its degrees of freedom); common: (n,) of their errors."""
    groups = np.zeros(len(x), int) if groups is None else np.asarray(groups)
    weight = 1 / np.sqrt(x_variance * y_variance)
    q = expected = size = 0.0
    dof = 0
    for g in np.unique(groups):
        w, own = weight[groups == g], groups == g
        if len(w) < 2:
            continue
        share = w / w.sum()
        q += float(w @ ((x[own] - share @ x[own]) * (y[own] - share @ y[own])))
        expected += float(w @ (common[own] * (1 - share)))
        size += float(w.sum() - (w**2).sum() / w.sum())
        dof += len(w) - 1
    return ((q - expected) / size if dof else 0.0), dof


def between(parts: np.ndarray, scatter: np.ndarray, of_specimen: np.ndarray) -> np.ndarray:
    """P T P' of every specimen: [K, K], nil between specimens."""
    same = of_specimen[:, None] == of_specimen[None, :]
    return np.asarray(same * (parts @ scatter @ parts.T))


def with_scatter(problem: Problem, of_specimen: np.ndarray, expected: float) -> Problem:
    """The problem with the specimens' scatter about this law in its covariance.

    of_specimen: (K,) number of the specimen that each interval is of; expected: the method's scatter, 1.
    """
    bare, pooled = problem, problem
    for _ in range(ROUNDS):
        parts = parts_at_best(pooled)
        of = part_factors(bare.covariance, bare.y, parts, of_specimen)
        own = between(parts, part_scatter(of, expected), of_specimen)
        pooled = replace(bare, covariance=bare.covariance + own, between=own)
    return pooled
