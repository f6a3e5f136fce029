"""Joint draws of a fitted law's parameters: what a prediction's interval is made of."""

from __future__ import annotations

import numpy as np

from pipeline.wear.chi2 import best_rates
from pipeline.wear.inference import Inference

DRAWS = 400


def draws(found: Inference, seed: int = 0) -> np.ndarray:
    """Parameter vectors [DRAWS, p] of equal weight, in step with the profiles: the shape from exp(-chi2/2), the rates
    about their best values for it, never negative; few degrees of freedom widen each draw as Student's t does, the shape's and the
    rates' by their own."""
    rng = np.random.default_rng(seed)
    fine, problem = found.fine, found.problem
    index = shape_draws(fine.shapes, fine.chi2 - found.minimum, found.scale, float(found.dofs[-1]), rng)
    wide = variances(found.scale, float(found.dofs[: len(problem.law.rates)].min()), rng)
    rates = rate_draws(fine.columns[index], problem.target, np.sqrt(wide), rng)
    return np.column_stack([rates, fine.shapes[index]]) if problem.law.shape else rates


def variances(scale: float, dof: float, rng: np.random.Generator) -> np.ndarray:
    """Variance [DRAWS] that each draw's residuals are judged by, known with `dof` degrees of freedom."""
    return scale / (rng.chisquare(dof, DRAWS) / dof if np.isfinite(dof) else np.ones(DRAWS))


def shape_draws(shapes: np.ndarray, rise: np.ndarray, scale: float, dof: float, rng: np.random.Generator) -> np.ndarray:
    """Index [DRAWS] into the shapes [S]; rise: of chi2 over its minimum, [S]; scale, dof: as of `variances`."""
    spacing = np.abs(np.gradient(shapes)) if shapes.size > 1 else np.ones(1)
    wide = variances(scale, dof, rng)
    weight = np.exp(-np.maximum(rise, 0)[None] / (2 * wide[:, None])) * spacing
    cumulative = np.cumsum(weight, axis=1) / weight.sum(axis=1, keepdims=True)
    quantile = rng.permutation((np.arange(DRAWS) + 0.5) / DRAWS)
    return np.minimum((cumulative < quantile[:, None]).sum(axis=1), shapes.size - 1)


def rate_draws(columns: np.ndarray, target: np.ndarray, sigma: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Rates [d, rates] refitted to the target with fresh noise along the columns' span [d, K, rates], sigma [d]: a
    parametric bootstrap of the rates. The noise is at even quantiles, so that its ends lie evenly about the best rates.
    """
    from scipy import special

    basis, _ = np.linalg.qr(columns)
    even = special.ndtri((np.arange(len(columns)) + 0.5) / len(columns))
    fresh = np.column_stack([rng.permutation(even) for _ in range(basis.shape[2])]) * sigma[:, None]
    return best_rates(columns, target + np.einsum("dki,di->dk", basis, fresh))[0]
