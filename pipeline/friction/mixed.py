"""Linear mixed models by restricted maximum likelihood, in closed form but for the variances.

    y = X b + Z u + e,   u ~ N(0, s2 L L'),   e ~ N(0, s2 R)

With rows whitened by R and Z multiplied by L the penalised least squares has a unit ridge on u; s2 and b are
profiled out, and -2 log restricted likelihood is

    (n - p) (1 + log(2 pi s2)) + log det C + log det R,     C = [X ZL]'[X ZL] + diag(0, I)

(Henderson's mixed model equations; the criterion in the form of Bates et al., J Stat Softw 67, 2015). Only a
few variance ratios are left to search, each trial costing one Cholesky factor of the size of the
coefficients, not of the stops.

statsmodels' MixedLM finds the same where it applies (a test compares them). The map is beyond it: scatter that changes along the
temperature, neighbours alike, two variances along the curve's bends, prior knowledge of each, stray stops held back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import lapack


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
    inverse_factor = lapack.dtrtri(factor.T)[0].T / norm  # a triangle: half the time of a general inverse
    inverse = inverse_factor.T @ inverse_factor
    coefficients = inverse @ (design.T @ response)
    # one step of refinement: the normal equations alone lose half the digits of ill-conditioned data
    coefficients += inverse @ (design.T @ (response - design @ coefficients) - ridge * coefficients)
    misfit = response - design @ coefficients
    scale = (misfit @ misfit + coefficients[fixed:] @ coefficients[fixed:]) / (n - fixed)
    scale = max(float(scale), np.finfo(float).tiny)
    criterion = (n - fixed) * (1 + np.log(2 * np.pi * scale)) + 2 * np.log(np.diag(factor) * norm).sum() + log_det
    return Profile(float(criterion), coefficients, scale, inverse)
