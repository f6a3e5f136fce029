"""Batch fixed, specimen random: the mixed model behind every batch comparison.

    y_i = batch(i) [+ block(i)] + specimen_i + error_i        Var = tau^2 + v_i

with one value y_i per specimen, tau^2 the variance between specimens of a batch and v_i the known variance
of the value itself (scatter of its stops, readings). Stops are not replicates for a batch: only specimens
are.

tau^2 is the restricted maximum likelihood estimate; the weights are 1 / (tau^2 + v_i), tau^2 in them not below the
mean of the v_i: from a handful of specimens it often comes out as zero, and one well-measured specimen would then
speak for its batch. The scale of the covariance is estimated from the weighted residuals on n - rank degrees of
freedom and Student's t used throughout (Hartung and Knapp, Statistics in Medicine 20, 2001, p. 3875; from memory).
With equal v_i, the balanced case, the weights cancel and the result is the closed form of the one-way analysis of
variance on the specimens' values, exactly, whatever tau^2 came out. Only the scale is never below the v_i themselves:
specimens that happen to agree better than their own values are known show chance, no smaller scatter.

The weighted least squares are statsmodels'. Its MixedLM on the single stops does not serve here: its intervals are
those of the normal distribution, and with two specimens a batch they hold far fewer differences than they say
(docs/libraries.md); its random-effects meta-analysis (combine_effects) has neither restricted maximum likelihood nor
batches.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.constants import Array


@dataclass(frozen=True)
class Fit:
    """Batch effects with their covariance; `df` degrees of freedom of the scale, 0 when there is nothing to
    estimate it.
    """

    batches: tuple[Hashable, ...]
    effects: Array  # one per batch; with blocks at the average of the blocks
    covariance: Array  # of effects; NaN when df is 0
    df: int
    specimen_sd: float  # root of tau^2, REML; NaN when df is 0
    residual_sd: float  # of a specimen's value about its batch (tau^2 + v): weighted, NaN when df is 0
    counts: tuple[int, ...]  # specimens per batch


def _dummies(labels: Sequence[Hashable]) -> tuple[tuple[Hashable, ...], Array]:
    levels = tuple(dict.fromkeys(labels))
    return levels, np.array([[label == level for level in levels] for label in labels], dtype=float)


def _reml_criterion(tau2: float, y: Array, x: Array, v: Array) -> float:
    """Minus twice the restricted log-likelihood, less constants."""
    w = 1 / (tau2 + v)
    xtwx = x.T @ (w[:, None] * x)
    beta = np.linalg.solve(xtwx, x.T @ (w * y))
    residual = y - x @ beta
    return float(-np.log(w).sum() + np.linalg.slogdet(xtwx)[1] + (w * residual**2).sum())


def reml_variance(y: ArrayLike, x: ArrayLike, v: ArrayLike) -> float:
    """Between-specimen variance tau^2 >= 0 by restricted maximum likelihood, the values' own variances v
    known.

    y (n,), x (n, p) of full column rank, v (n,) >= 0, in squared units of y.
    """
    from scipy.optimize import minimize_scalar

    y, x, v = np.asarray(y, float), np.asarray(x, float), np.asarray(v, float)
    df = len(y) - x.shape[1]
    residual = y - x @ np.linalg.lstsq(x, y, rcond=None)[0]
    moment = float(residual @ residual) / df
    if np.ptp(v) <= 1e-12 * max(v.max(), moment):  # equal variances: closed form
        return max(0.0, moment - float(v.mean()))
    top = 10 * moment + float(np.ptp(v)) + np.finfo(float).tiny
    floor = 1e-9 * top if v.min() <= 0 else 0.0
    grid = np.concatenate([[floor], top * np.logspace(-6, 0, 40)])
    values = [_reml_criterion(g, y, x, v) for g in grid]
    best = int(np.argmin(values))
    low, high = grid[max(best - 1, 0)], grid[min(best + 1, len(grid) - 1)]
    found = minimize_scalar(
        _reml_criterion, bounds=(low, high), args=(y, x, v), method="bounded", options={"xatol": 1e-10 * top}
    )
    return float(found.x) if found.fun < values[best] else float(grid[best])


def fit(
    values: ArrayLike,
    batch: Sequence[Hashable],
    variances: ArrayLike | None = None,
    block: Sequence[Hashable] | None = None,
) -> Fit:
    """Batch effects from one value per specimen.

    values (n,); batch (n,) labels; variances (n,) of the values themselves, same unit squared (None:
    equal); block (n,) labels of what was run together (rig, day, pair): a fixed additive effect. Raises
    ValueError where batches and blocks cannot be told apart.
    """
    y = np.asarray(values, float)
    v = np.zeros_like(y) if variances is None else np.asarray(variances, float)
    levels, x_batch = _dummies(batch)
    x = x_batch
    if block is not None:
        x_block = _dummies(block)[1]
        x = np.hstack([x_batch, (x_block - x_block.mean(axis=0))[:, 1:]])
    if np.linalg.matrix_rank(x) < x.shape[1]:
        raise ValueError("batches and blocks cannot be separated: no block holds more than one batch")
    counts = tuple(int(c) for c in x_batch.sum(axis=0))
    df = len(y) - x.shape[1]
    size = len(levels)
    if df <= 0:
        beta = np.linalg.solve(x.T @ x, x.T @ y)
        nothing = float("nan")
        return Fit(levels, beta[:size], np.full((size, size), nothing), 0, nothing, nothing, counts)
    from statsmodels.regression.linear_model import (
        WLS,
    )  # not above: it takes a second to load, a batch's only specimen needs none

    tau2 = reml_variance(y, x, v)
    w = np.ones_like(y) if np.ptp(v) == 0 else 1 / (max(tau2, float(v.mean())) + v)
    w = w / w.mean()
    found = WLS(y, x, weights=w).fit()
    scale = max(float(found.scale), float((w * v).mean()))
    inverse = found.normalized_cov_params[:size, :size]
    return Fit(levels, found.params[:size], scale * inverse, df, tau2**0.5, scale**0.5, counts)


def contrast(fitted: Fit, a: Hashable, b: Hashable) -> tuple[float, float]:
    """Effect of batch a less that of b and its standard error (NaN when no batch has two specimens)."""
    c = np.array([float(level == a) - float(level == b) for level in fitted.batches])
    return float(c @ fitted.effects), float(np.sqrt(c @ fitted.covariance @ c))
