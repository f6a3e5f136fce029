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
    index, wide = shape_draws(fine.shapes, fine.chi2 - found.minimum, found.scale, found.scale_dof, rng)
    rates = rate_draws(fine.columns[index], problem.target, np.sqrt(wide), rng)
    return np.column_stack([rates, fine.shapes[index]]) if problem.law.shape else rates


def shape_draws(
    shapes: np.ndarray, rise: np.ndarray, scale: float, dof: float, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """(index [DRAWS] into the shapes [S], variance [DRAWS] that each draw's residuals are judged by); rise: of chi2 over
    its minimum, [S]; scale, dof: that variance and its degrees of freedom."""
    spacing = np.abs(np.gradient(shapes)) if shapes.size > 1 else np.ones(1)
    known = not np.isfinite(dof)
    t = np.ones(DRAWS) if known else rng.chisquare(dof, DRAWS) / dof
    wide = scale / t
    weight = np.exp(-np.maximum(rise, 0)[None] / (2 * wide[:, None])) * spacing
    cumulative = np.cumsum(weight, axis=1) / weight.sum(axis=1, keepdims=True)
    quantile = rng.permutation((np.arange(DRAWS) + 0.5) / DRAWS)
    return np.minimum((cumulative < quantile[:, None]).sum(axis=1), shapes.size - 1), wide


def rate_draws(columns: np.ndarray, target: np.ndarray, sigma: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Rates [d, rates] refitted to the target with fresh noise along the columns' span [d, K, rates], sigma [d]: a
    parametric bootstrap of the rates. The noise is at even quantiles, so that its ends lie evenly about the best rates.
    """
    from scipy import special

    basis, _ = np.linalg.qr(columns)
    even = special.ndtri((np.arange(len(columns)) + 0.5) / len(columns))
    fresh = np.column_stack([rng.permutation(even) for _ in range(basis.shape[2])]) * sigma[:, None]
    return best_rates(columns, target + np.einsum("dki,di->dk", basis, fresh))[0]
