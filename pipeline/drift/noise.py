"""Scatter of matched stops: what a healthy surface and rig do to ln mu from stop to stop.

Three parts: a scatter of each stop that its neighbours share in part (first-order autoregressive in the stop's number),
a shift common to the stops of one block, and the uncertainty of the slopes by which small departures from matched
conditions are taken off. The figures are pooled over the compound's tests (`repeatability`); a test's own scatter,
where larger, widens them.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.constants import MAD_TO_SD, Array


class Repeatability(NamedTuple):
    """Scatter of ln mu at matched conditions, shares of mu.

    sigma of a stop, rho between neighbours (u_rho its standard uncertainty), block_sigma of a block's common shift,
    exposed the factor on sigma for stops of use (duty), dof the degrees of freedom behind sigma.
    """

    sigma: float = 0.022
    rho: float = 0.25
    u_rho: float = 0.15
    block_sigma: float = 0.004
    exposed: float = 1.0
    dof: float = 10.0


class Pooled(NamedTuple):
    """AR(1) scatter pooled over blocks: sigma, rho, its standard uncertainty, degrees of freedom."""

    sigma: float
    rho: float
    u_rho: float
    dof: int


_RHO = np.round(np.arange(-0.3, 0.901, 0.05), 2)


def pooled_scatter(
    blocks: list[Array], *, trend: bool = False, prior: tuple[float, float] = (0.25, 0.2)
) -> Pooled | None:
    """Scatter and autocorrelation of blocks of consecutive matched stops, each about its own level.

    Restricted maximum likelihood over a grid of rho, the blocks' levels (with `trend` also their slopes) being free:
    so short blocks do not bias rho towards zero. `prior` (mean, standard deviation) steadies rho where data are few.
    None when no block has enough stops.
    """
    columns = 2 if trend else 1
    by_length: dict[int, list[Array]] = {}
    for values in blocks:
        values = np.asarray(values, float)
        if len(values) > columns + 1 and np.isfinite(values).all():
            by_length.setdefault(len(values), []).append(values)
    dof = sum((n - columns) * len(rows) for n, rows in by_length.items())
    if dof < 4:
        return None
    logs = np.zeros(len(_RHO))
    left = []
    for n, rows in by_length.items():
        project, log_determinant = _projections(n, columns)
        left.append((project @ np.stack(rows, axis=1)).reshape(len(_RHO), -1))
        logs += len(rows) * log_determinant
    squares = np.maximum(np.sum(_clipped(np.hstack(left)) ** 2, axis=1), 1e-16 * dof)
    likelihood = -0.5 * (logs + dof * np.log(squares / dof)) - 0.5 * ((_RHO - prior[0]) / prior[1]) ** 2
    weight = np.exp(likelihood - likelihood.max())
    weight /= weight.sum()
    rho = float(weight @ _RHO)
    u_rho = float(np.sqrt(weight @ (_RHO - rho) ** 2))
    return Pooled(float(np.sqrt(np.interp(rho, _RHO, squares) / dof)), rho, u_rho, dof)


@lru_cache(maxsize=256)
def _projections(n: int, columns: int) -> tuple[Array, Array]:
    """For each rho: the matrix from a block's values to its whitened residuals about level (and slope), and the log
    determinants of the restricted likelihood."""
    design = np.vander(np.linspace(-1, 1, n), columns, increasing=True)
    distance = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    project, logs = np.empty((len(_RHO), n, n)), np.empty(len(_RHO))
    for i, rho in enumerate(_RHO):
        root = np.linalg.cholesky(np.where(distance == 0, 1.0, float(rho) ** distance))
        whiten = np.linalg.inv(root)
        q, r = np.linalg.qr(whiten @ design)
        project[i] = whiten - q @ (q.T @ whiten)
        logs[i] = 2 * np.log(np.diag(root)).sum() + 2 * np.log(np.abs(np.diag(r))).sum()
    return project, logs


def _clipped(left: Array) -> Array:
    """Residuals (rho, n), the wildest held at 4.5 robust standard deviations: one stray stop must not set the
    scatter.
    """
    scale = 4.5 * MAD_TO_SD * np.median(np.abs(left), axis=1, keepdims=True)
    scale = np.where(scale > 0, scale, np.inf)
    return np.clip(left, -scale, scale)


def in_pieces(runs: list[Array], longest: int = 8) -> list[Array]:
    """Long runs cut into pieces of about `longest`, so that a step or trend within a run does not pass for scatter."""
    return [piece for run in runs if len(run) for piece in np.array_split(run, -(-len(run) // longest))]


def covariance(
    stop: NDArray[np.int64],
    block: NDArray[np.int64],
    spread: Array,
    rho: float,
    block_sigma: float,
    slopes: list[Array] | None = None,
) -> Array:
    """Covariance (n, n) of ln mu at the given stops: `spread` (n,) per stop, a block's shift, uncertain slopes.

    Each entry of `slopes` (n,) is a departure times the standard uncertainty of its slope.
    """
    distance = np.abs(np.subtract.outer(stop, stop)).astype(float)
    correlation = (
        np.where(distance == 0, 1.0, np.sign(rho) ** distance * np.abs(rho) ** distance)
        if rho
        else (distance == 0) * 1.0
    )
    matrix = np.outer(spread, spread) * correlation
    matrix += block_sigma**2 * (block[:, None] == block[None, :])
    for column in slopes or []:
        matrix += np.outer(column, column)
    return matrix


def generalised(design: Array, values: Array, matrix: Array) -> tuple[Array, Array]:
    """Generalised least squares: coefficients (k,) and their covariance (k, k), the errors' covariance (n, n) being
    known.

    `design` (n, k). The same as statsmodels' GLS to the last digits; loading that would take each test's drift longer
    than all of its fits.
    """
    white = whitening(matrix)
    x = white @ design
    inverse = np.asarray(np.linalg.pinv(x.T @ x), float)
    return inverse @ (x.T @ (white @ values)), inverse


def whitening(matrix: Array) -> Array:
    """W with W C W' = 1: the inverse of the covariance's lower root."""
    from scipy.linalg import solve_triangular

    root = np.linalg.cholesky(matrix)
    return solve_triangular(root, np.eye(len(matrix)), lower=True, check_finite=False)
