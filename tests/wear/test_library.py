"""Wear's own fitting routine beside the library's, where both can be asked: a law linear in its rates, no rate at its bound."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.wear.fit import least_squares


@pytest.mark.parametrize("seed", range(4))
def test_a_linear_law_is_generalised_least_squares(seed: int) -> None:
    """Columns as unlike as um/MJ beside mm3/(N m), neighbouring intervals sharing a reading."""
    from statsmodels.regression.linear_model import GLS

    rng = np.random.default_rng(seed)
    columns = np.column_stack([rng.uniform(1, 20, 9), rng.uniform(1, 20, 9) * 1e6])
    covariance = 2.0 * np.eye(9) - 0.9 * (np.eye(9, k=1) + np.eye(9, k=-1))
    y = columns @ [3.0, 2e-6] + np.linalg.cholesky(covariance) @ rng.normal(size=9)
    ours = least_squares(lambda x: columns @ x, y, [[1.0, 1e-6]], bounds=([0, 0], [np.inf] * 2), covariance=covariance)
    theirs = GLS(y, columns / [1, 1e6], sigma=covariance).fit()
    assert ours.parameters == pytest.approx(theirs.params / [1, 1e6], rel=1e-7)
    assert ours.covariance == pytest.approx(theirs.normalized_cov_params / np.outer([1, 1e6], [1, 1e6]), rel=1e-6)
    assert ours.chi2 / ours.dof == pytest.approx(theirs.scale, rel=1e-9)
    assert ours.dof == theirs.df_resid
