"""Linear mixed models by restricted maximum likelihood, in closed form but for the variances.

    y = X b + Z u + e,   u ~ N(0, s2 L L'),   e ~ N(0, s2 R)

With rows whitened by R and Z multiplied by L the penalised least squares has a unit ridge on u; s2 and b are
profiled out, and -2 log restricted likelihood is

    (n - p) (1 + log(2 pi s2)) + log det C + log det R,     C = [X ZL]'[X ZL] + diag(0, I)

(Henderson's mixed model equations; the criterion in the form of Bates et al., J Stat Softw 67, 2015). Only a
few variance ratios are left to search, each trial costing one Cholesky factor of the size of the
coefficients, not of the stops.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Profile:
    """The fit at given variance ratios: coefficients of [X, ZL], their covariance factor, scale,
    criterion.
    """

    criterion: float
    coefficients: np.ndarray
    scale: float  # s2, units of y squared
    inverse: np.ndarray  # C^-1; times scale it is the covariance of (b, u - u_true)


def profile(design: np.ndarray, response: np.ndarray, fixed: int, log_det: float = 0.0) -> Profile:
    """Solve the whitened model; `design` is [X, ZL] (n, p + q), its first `fixed` columns unpenalised.

    With no random columns it is plain least squares. `log_det` is log det R. Raises numpy.linalg.LinAlgError
    when the fixed columns are linearly dependent.
    """
    n, size = design.shape
    cross = design.T @ design
    ridge = np.zeros(size)
    ridge[fixed:] = 1.0
    cross[np.arange(size), np.arange(size)] += ridge
    norm = np.sqrt(np.maximum(np.diag(cross), np.finfo(float).tiny))
    factor = np.linalg.cholesky(cross / np.outer(norm, norm))
    if np.min(np.diag(factor)) < 1e-7:
        raise np.linalg.LinAlgError("columns are linearly dependent")
    inverse_factor = np.linalg.inv(factor) / norm
    inverse = inverse_factor.T @ inverse_factor
    coefficients = inverse @ (design.T @ response)
    # one step of refinement: the normal equations alone lose half the digits of ill-conditioned data
    coefficients += inverse @ (design.T @ (response - design @ coefficients) - ridge * coefficients)
    misfit = response - design @ coefficients
    scale = (misfit @ misfit + coefficients[fixed:] @ coefficients[fixed:]) / (n - fixed)
    scale = max(float(scale), np.finfo(float).tiny)
    criterion = (n - fixed) * (1 + np.log(2 * np.pi * scale)) + 2 * np.log(np.diag(factor) * norm).sum() + log_det
    return Profile(float(criterion), coefficients, scale, inverse)


@dataclass(frozen=True)
class Grouped:
    """A mixed model with one grouping: fixed effects, their covariance, variances, REML criterion (-2
    log).
    """

    fixed: np.ndarray
    covariance: np.ndarray
    group_covariance: np.ndarray
    residual_variance: float
    criterion: float
    random: np.ndarray  # (groups, columns), in the order of `labels`
    labels: np.ndarray


def fit_grouped(y: np.ndarray, x: np.ndarray, groups: np.ndarray, columns: np.ndarray | None = None) -> Grouped:
    """Fit y = x b + columns_g u_g + e with an unstructured covariance of u_g by REML.

    y (n,), x (n, p), groups (n,) labels, columns (n, k) of the random effects (default: an intercept). A
    variance may be estimated as exactly zero; nothing is added to keep it away from the boundary.
    """
    from scipy.optimize import minimize

    labels, index = np.unique(groups, return_inverse=True)
    columns = np.ones((y.size, 1)) if columns is None else columns
    k = columns.shape[1]
    rows, lower = np.arange(y.size), np.tril_indices(k)

    def solved(theta: np.ndarray) -> Profile:
        factor = np.zeros((k, k))
        factor[lower] = theta
        random = np.zeros((y.size, labels.size, k))
        random[rows, index] = columns @ factor
        return profile(np.hstack([x, random.reshape(y.size, -1)]), y, x.shape[1])

    start = np.eye(k)[lower]
    on_diagonal = np.array([i == j for i, j in zip(*lower, strict=True)])
    bounds = [(0.0, None) if d else (None, None) for d in on_diagonal]
    found = minimize(lambda t: solved(t).criterion, start, method="L-BFGS-B", bounds=bounds,
                     options={"ftol": 1e-14, "gtol": 1e-9})  # fmt: skip
    best = solved(found.x)
    factor = np.zeros((k, k))
    factor[lower] = found.x
    p = x.shape[1]
    return Grouped(
        fixed=best.coefficients[:p],
        covariance=best.inverse[:p, :p] * best.scale,
        group_covariance=factor @ factor.T * best.scale,
        residual_variance=best.scale,
        criterion=best.criterion,
        random=best.coefficients[p:].reshape(labels.size, k) @ factor.T,
        labels=labels,
    )
