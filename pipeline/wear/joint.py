"""Joint draws of a fitted law's parameters: what a prediction's interval is made of."""

from __future__ import annotations

import numpy as np

from pipeline.wear.chi2 import best_rates
from pipeline.wear.inference import Inference

DRAWS = 400


def draws(found: Inference, seed: int = 0) -> np.ndarray:
    """Parameter vectors [DRAWS, p] of equal weight, in step with the profiles: the shape from exp(-chi2/2), the rates
    about their best values for it, never negative; few degrees of freedom widen each draw as Student's t does."""
    rng = np.random.default_rng(seed)
    fine, problem = found.fine, found.problem
    spacing = np.abs(np.gradient(fine.shapes)) if fine.shapes.size > 1 else np.ones(1)
    known = not np.isfinite(found.scale_dof)
    t = np.ones(DRAWS) if known else rng.chisquare(found.scale_dof, DRAWS) / found.scale_dof
    wide = found.scale / t
    weight = np.exp(-np.maximum(fine.chi2 - found.minimum, 0)[None] / (2 * wide[:, None])) * spacing
    cumulative = np.cumsum(weight, axis=1) / weight.sum(axis=1, keepdims=True)
    quantile = rng.permutation((np.arange(DRAWS) + 0.5) / DRAWS)
    index = np.minimum((cumulative < quantile[:, None]).sum(axis=1), fine.shapes.size - 1)
    rates = _rate_draws(fine.columns[index], problem.target, np.sqrt(wide), rng)
    return np.column_stack([rates, fine.shapes[index]]) if problem.law.shape else rates


def _rate_draws(columns: np.ndarray, target: np.ndarray, sigma: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Rates [d, rates] refitted to the target with fresh noise along the columns' span [d, K, rates], sigma [d]: a
    parametric bootstrap of the rates."""
    basis, _ = np.linalg.qr(columns)
    fresh = rng.normal(size=(len(columns), basis.shape[2])) * sigma[:, None]
    return best_rates(columns, target + np.einsum("dki,di->dk", basis, fresh))[0]
