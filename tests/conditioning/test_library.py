"""The linear fits of conditioning beside statsmodels': the same where they must be."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.conditioning.offsets import least_squares, robust_fit


def line(seed: int, points: int, wild: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Design, values and weights of a line whose wild points scatter ten times as much."""
    rng = np.random.default_rng(seed)
    design = np.column_stack([np.ones(points), rng.uniform(50, 250, points)])
    noise = rng.normal(size=points) * np.where(rng.random(points) < wild, 10, 1)
    weight = rng.uniform(0.5, 2, points)
    return design, design @ [12.0, 0.08] + noise / np.sqrt(weight), weight


@pytest.mark.parametrize("seed", range(4))
def test_weighted_least_squares(seed: int) -> None:
    from statsmodels.regression.linear_model import WLS

    design, y, weight = line(seed, 15, 0.0)
    coefficients, covariance = least_squares(design, y, weight)
    theirs = WLS(y, design, weights=weight).fit()
    assert coefficients == pytest.approx(theirs.params, rel=1e-9)
    assert covariance == pytest.approx(theirs.cov_params(), rel=1e-9)


@pytest.mark.parametrize("points", [12, 40, 200])
@pytest.mark.parametrize("seed", range(3))
def test_robust_line(points: int, seed: int) -> None:
    """RLM takes no weights: it is given the rows times their roots, which is the same fit."""
    from statsmodels.robust.norms import HuberT
    from statsmodels.robust.robust_linear_model import RLM

    design, y, weight = line(seed, points, 0.1)
    root = np.sqrt(weight)
    coefficients, covariance = robust_fit(design, y, weight)
    theirs = RLM(y * root, design * root[:, None], M=HuberT(1.5)).fit(maxiter=200, tol=1e-12)
    assert np.abs(coefficients - theirs.params).max() <= 1e-4 * theirs.bse.max()
    assert covariance == pytest.approx(theirs.bcov_scaled, rel=1e-3)
