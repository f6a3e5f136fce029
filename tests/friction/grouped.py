"""A mixed model with one grouping, its variances searched for over the map's own criterion (`profile`)."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.optimize import minimize

from pipeline.friction.mixed import Profile, profile


class Grouped(NamedTuple):
    """Fixed effects and their covariance, covariance of the groups' effects, residual variance, -2 log restricted likelihood."""

    fixed: np.ndarray
    covariance: np.ndarray
    group_covariance: np.ndarray
    residual_variance: float
    criterion: float


def fit_grouped(y: np.ndarray, x: np.ndarray, groups: np.ndarray) -> Grouped:
    """y = x b + x_g u_g + e, the u_g with an unstructured covariance; y (n,), x (n, p), groups (n,) labels."""
    labels, index = np.unique(groups, return_inverse=True)
    p, lower = x.shape[1], np.tril_indices(x.shape[1])

    def factor(theta: np.ndarray) -> np.ndarray:
        out = np.zeros((p, p))
        out[lower] = theta
        return out

    def solved(theta: np.ndarray) -> Profile:
        random = np.zeros((y.size, labels.size, p))
        random[np.arange(y.size), index] = x @ factor(theta)
        return profile(np.hstack([x, random.reshape(y.size, -1)]), y, p)

    bounds = [(0.0, None) if i == j else (None, None) for i, j in zip(*lower, strict=True)]
    found = minimize(
        lambda theta: solved(theta).criterion, np.eye(p)[lower], bounds=bounds, options={"ftol": 1e-14, "gtol": 1e-9}
    )
    best, root = solved(found.x), factor(found.x)
    return Grouped(
        best.coefficients[:p], best.inverse[:p, :p] * best.scale, root @ root.T * best.scale, best.scale, best.criterion
    )
