"""Weighted, bounded least squares with several starts: the one fitting routine of the wear laws.

Residuals are whitened by the observations' covariance (its Cholesky factor), so that correlated readings count for
what they are; the trust-region solver runs from every start and Gauss-Newton steps polish the best to the
arithmetic's limit. The covariance is that of J's columns scaled to length one, scaled back: parameters of very unlike
size (um/MJ beside mm3/(N m)) would else fall under the pseudo-inverse's cut-off. Checked on the certified nonlinear
regressions of NIST StRD.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

Model = Callable[[np.ndarray], np.ndarray]
_STEP = np.finfo(float).eps ** (1 / 3)
MOST_CALLS = 400


@dataclass(frozen=True)
class Fit:
    """parameters [p]; covariance [p, p] for whitened residuals of unit variance (times chi2/dof when the errors' size
    is not known); chi2 the whitened sum of squares; dof; at_bound [p]; converged: the solver ended by itself, not by
    MOST_CALLS.
    """

    parameters: np.ndarray
    covariance: np.ndarray
    chi2: float
    dof: int
    at_bound: np.ndarray
    converged: bool = True


def least_squares(
    model: Model,
    y: np.ndarray,
    starts: Sequence[Sequence[float]],
    *,
    bounds: tuple[Sequence[float], Sequence[float]] | None = None,
    covariance: np.ndarray | None = None,
) -> Fit:
    """Parameters that make model(parameters) [n] fit y [n] best; covariance [n, n] of y, or None for equal errors.

    Raises ValueError when no start gives a finite fit, LinAlgError when the covariance is not positive definite.
    """
    from scipy import optimize

    y = np.asarray(y, float)
    low, high = (np.asarray(b, float) for b in bounds) if bounds else (-np.inf, np.inf)
    whiten = whitener(covariance) if covariance is not None else (lambda r: r)
    best = None
    for start in starts:
        x0 = np.clip(np.asarray(start, float), low, high)
        if not np.isfinite(model(x0)).all():
            continue
        found = optimize.least_squares(
            lambda x: whiten(model(x) - y),
            x0,
            jac="3-point",
            bounds=(low, high),
            x_scale="jac",
            xtol=1e-14,
            ftol=1e-14,
            gtol=1e-14,
            max_nfev=MOST_CALLS,
        )
        if np.isfinite(found.cost) and (best is None or found.cost < best.cost):
            best = found
    if best is None:
        raise ValueError("no start gives a finite fit")
    x = _polish(lambda x: whiten(model(x) - y), _snapped(best.x, low, high), low, high)
    residual, jacobian = whiten(model(x) - y), _jacobian(lambda x: whiten(model(x) - y), x, low, high)
    return Fit(
        parameters=x,
        covariance=_covariance(jacobian),
        chi2=float(residual @ residual),
        dof=y.size - x.size,
        at_bound=(x <= low) | (x >= high),
        converged=best.status > 0,
    )


def _covariance(jacobian: np.ndarray) -> np.ndarray:
    """Inverse of J'J by columns of length one; a column of zeros (a parameter without effect) has no variance to
    tell.
    """
    size = np.linalg.norm(jacobian, axis=0)
    size = np.where(size > 0, size, 1.0)
    scaled = jacobian / size
    return np.linalg.pinv(scaled.T @ scaled) / np.outer(size, size)


def _snapped(x: np.ndarray, low: np.ndarray | float, high: np.ndarray | float) -> np.ndarray:
    """The solver stops just short of a bound: put such a parameter on it."""
    near = 1e-9 * np.maximum(np.abs(x), 1e-3)
    return np.where(x - low < near, low, np.where(high - x < near, high, x))


def whitener(covariance: np.ndarray) -> Callable[[np.ndarray], np.ndarray]:
    """Function that turns errors of this covariance into independent ones of unit variance; acts on the last axis but
    one of a matrix or stack of them, or on a vector. Raises LinAlgError when it is not positive definite.

    covariance: [n, n].
    """
    inverse = np.linalg.inv(np.linalg.cholesky(np.asarray(covariance, float)))
    return lambda r: inverse @ r


def _jacobian(
    residual: Callable[[np.ndarray], np.ndarray], x: np.ndarray, low: np.ndarray | float, high: np.ndarray | float
) -> np.ndarray:
    """Central differences, kept inside the bounds."""
    columns = []
    for i in range(x.size):
        h = _STEP * max(abs(x[i]), 1e-12)
        up, down = x.copy(), x.copy()
        up[i], down[i] = x[i] + h, x[i] - h
        up, down = np.clip(up, low, high), np.clip(down, low, high)
        columns.append((residual(up) - residual(down)) / (up[i] - down[i]))
    return np.column_stack(columns)


def _polish(
    residual: Callable[[np.ndarray], np.ndarray], x: np.ndarray, low: np.ndarray | float, high: np.ndarray | float
) -> np.ndarray:
    """Gauss-Newton steps on the parameters off their bounds while the sum of squares falls."""
    cost = float(residual(x) @ residual(x))
    for _ in range(12):
        free = (x > low) & (x < high)
        if not free.any():
            return x
        jacobian = _jacobian(residual, x, low, high)[:, free]
        step = np.zeros_like(x)
        scale = np.linalg.norm(jacobian, axis=0)
        if not (scale > 0).all():
            return x
        step[free] = np.linalg.lstsq(jacobian / scale, -residual(x), rcond=None)[0] / scale
        trial = np.clip(x + step, low, high)
        r = residual(trial)
        new = float(r @ r)
        if not new < cost:
            return x
        x, cost = trial, new
    return x
