"""How much specimens of one compound differ: the factor of each about a law, and the scatter of the factors.

t^2 is the moment estimate from the specimens' own factors (DerSimonian & Laird 1986), drawn towards the method's
expected scatter, which counts as a few degrees of freedom: two specimens alone say next to nothing about scatter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.wear.chi2 import Problem, at_best

SCATTER_DOF = 4  # what the method's expected scatter counts for
ROUNDS = 3


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


def scatter_of(value: np.ndarray, variance: np.ndarray, expected: float) -> float:
    """Standard deviation between specimens from factors and their variances, drawn towards the expected one.

    By moments (DerSimonian and Laird 1986, from memory). value: (n,) factor of each specimen about the law, 1;
    variance: (n,) of the factors; expected: the method's scatter, 1.
    """
    n = len(value)
    found = 0.0
    if n > 1:
        weight = 1 / variance
        mean = weight @ value / weight.sum()
        q = weight @ (value - mean) ** 2
        found = max(0.0, float((q - (n - 1)) / (weight.sum() - (weight**2).sum() / weight.sum())))
    return float(np.sqrt((SCATTER_DOF * expected**2 + (n - 1) * found) / (SCATTER_DOF + n - 1)))


def with_scatter(problem: Problem, of_test: np.ndarray, expected: float) -> Problem:
    """The problem with the specimens' scatter about this law in its covariance.

    of_test: (K,) number of the specimen that each interval is of; expected: the method's scatter, 1.
    """
    bare, pooled = problem, problem
    for _ in range(ROUNDS):
        predicted = at_best(pooled)
        scatter = scatter_of(*factors(bare, predicted, of_test), expected)
        same = of_test[:, None] == of_test[None, :]
        covariance = bare.covariance + scatter**2 * np.outer(predicted, predicted) * same
        pooled = replace(bare, covariance=covariance)
    return pooled
