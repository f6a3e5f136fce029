"""Tolerance factors: how many standard deviations hold a share of single future values with a stated
confidence.

Two-sided, exact for a normal scatter (ISO 16269-6; Krishnamoorthy and Mathew 2009, section 2.3): the mean is
known to a variance of `ratio` times the scatter's, the scatter from `dof` degrees of freedom, and k solves

    E_z[ P( chi2(dof) > dof q(z) / k^2 ) ] = confidence,   q(z) the coverage quantile of chi2 with 1 dof and
                                                          non-centrality ratio z^2,  z ~ N(0, 1)

For n plain repeats ratio = 1/n and dof = n - 1. In a regression ratio is (standard error / scatter)^2 at the
point, which is how a calibration error common to all stops enters too: it makes the mean less known and adds
nothing to the scatter.
"""

from __future__ import annotations

import numpy as np
from scipy import special

NODES, WEIGHTS = np.polynomial.legendre.leggauss(80)
FARTHEST = 9.0  # standard deviations of the mean's error that the integral runs to
LEAST_LOG_K, MOST_LOG_K = -3.0, 12.0  # a factor beyond e^12 is told as e^12


def two_sided(coverage: float, confidence: float, dof: np.ndarray | float, ratio: np.ndarray | float) -> np.ndarray:
    """Exact two-sided factor k, elementwise over `dof` (> 0) and `ratio` (>= 0); dimensionless."""
    from scipy.optimize import elementwise

    dof, ratio = np.broadcast_arrays(np.asarray(dof, float), np.asarray(ratio, float))
    z = (NODES + 1) * FARTHEST / 2
    weight = WEIGHTS * FARTHEST * np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    dof = dof.ravel()
    need = dof[:, None] * coverage_quantile(coverage, np.sqrt(ratio.reshape(-1, 1)) * z) ** 2 / 2

    def excess(log_k: np.ndarray, each: np.ndarray) -> np.ndarray:
        held = special.gammaincc(dof[each, None] / 2, need[each] / np.exp(2 * log_k)[:, None])
        return np.asarray((held * weight).sum(axis=1) - confidence)

    bracket = (np.full(dof.shape, LEAST_LOG_K), np.full(dof.shape, MOST_LOG_K))
    found = elementwise.find_root(excess, bracket, args=(np.arange(dof.size),))
    return np.asarray(np.exp(np.where(found.success, found.x, MOST_LOG_K)).reshape(ratio.shape))


def coverage_quantile(coverage: float, offset: np.ndarray) -> np.ndarray:
    """Half-width c with P(|Z + offset| <= c) = coverage, Z standard normal, by Newton's method."""
    offset = np.abs(np.asarray(offset, float))
    half = np.maximum(special.ndtri((1 + coverage) / 2), offset + special.ndtri(coverage))
    for _ in range(25):
        excess = special.ndtr(half - offset) - special.ndtr(-half - offset) - coverage
        density = np.exp(-((half - offset) ** 2) / 2) + np.exp(-((half + offset) ** 2) / 2)
        half = half - excess * np.sqrt(2 * np.pi) / density
    return half
