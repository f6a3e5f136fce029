"""Where drift's own formulas and a library must agree, they do."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import kendalltau, theilslopes

from pipeline.drift.charts import ewma
from pipeline.drift.noise import covariance, generalised, pooled_scatter
from pipeline.drift.outliers import grubbs
from pipeline.drift.trend import hamed_rao_factor, monotone_trend


@pytest.mark.parametrize("seed", range(4))
def test_generalised_least_squares(seed: int) -> None:
    from statsmodels.regression.linear_model import GLS

    rng = np.random.default_rng(seed)
    stop, block = np.arange(20) * 2, np.repeat(np.arange(4), 5)
    matrix = covariance(stop, block, np.full(20, 0.02), 0.4, 0.005)
    design = np.column_stack([np.ones(20), rng.normal(size=20), block > 1]).astype(float)
    values = rng.normal(0, 0.02, 20)
    coefficients, cover = generalised(design, values, matrix)
    theirs = GLS(values, design, sigma=matrix).fit(cov_type="fixed scale", cov_kwds={"scale": 1.0})
    assert coefficients == pytest.approx(theirs.params, rel=1e-9)
    assert cover == pytest.approx(theirs.cov_params(), rel=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_slope_and_test_of_a_trend(seed: int) -> None:
    rng = np.random.default_rng(seed)
    times = np.sort(rng.choice(200, 25, replace=False)).astype(float)
    values = 0.002 * times + rng.normal(0, 0.1, 25)
    ours = monotone_trend(values, times)
    assert ours.slope == pytest.approx(theilslopes(values, times).slope, rel=1e-12)
    assert ours.s / (25 * 24 / 2) == pytest.approx(kendalltau(times, values).statistic, rel=1e-12)
    # without the correction of a count for its steps of two the test is kendalltau's by the normal distribution
    plain = ours.s / (ours.s - np.sign(ours.s)) * ours.z
    from scipy.special import ndtr

    assert 2 * ndtr(-abs(plain)) == pytest.approx(kendalltau(times, values, method="asymptotic").pvalue, rel=1e-9)


def test_autocorrelation_of_the_ranks() -> None:
    """The factor written out from statsmodels' autocorrelations."""
    from statsmodels.tsa.stattools import acf

    rng = np.random.default_rng(1)
    y, n = rng.normal(size=60), 60
    for i in range(1, n):
        y[i] += 0.6 * y[i - 1]
    rho = acf(np.argsort(np.argsort(y)), nlags=n - 2, fft=False)[1:]
    rho = np.where(np.abs(rho) > 1.96 / np.sqrt(n), rho, 0.0)
    k = np.arange(1, n - 1)
    factor = 1 + 2 / (n * (n - 1) * (n - 2)) * np.sum((n - k) * (n - k - 1) * (n - k - 2) * rho)
    assert hamed_rao_factor(y, np.arange(n), 0.0) == pytest.approx(factor, rel=1e-9)
    assert factor > 1


@pytest.mark.parametrize("off", [0.5, 2.0, 2.6, 3.0, 5.0])
def test_a_stray_value_is_a_regressions_outlier(off: float) -> None:
    """Grubbs' two-sided test and Bonferroni's of the studentised residuals about the mean: the same answer."""
    from statsmodels.regression.linear_model import OLS

    values = np.random.default_rng(3).normal(size=12)
    values[4] = off
    ours = grubbs(values, 0.05, sides=2)
    theirs = OLS(values, np.ones(12)).fit().outlier_test()[:, 2].min()
    assert ours.beyond == (theirs < 0.05)
    count, t = 12, abs(OLS(values, np.ones(12)).fit().get_influence().resid_studentized_external[ours.where])
    assert ours.statistic == pytest.approx((count - 1) / np.sqrt(count) * np.sqrt(t * t / (count - 2 + t * t)))


def test_weighted_average_is_a_recursive_filter() -> None:
    from scipy.signal import lfilter

    values = np.random.default_rng(2).normal(size=(3, 40))
    assert ewma(values, 0.2) == pytest.approx(lfilter([0.2], [1, -0.8], values), rel=1e-12)


def test_scatter_of_one_long_series_is_an_autoregression() -> None:
    """One long run, where the level costs nothing: sigma and rho as they are estimated from a series. The prior of rho is
    worth a few stops.
    """
    from statsmodels.tsa.stattools import acf

    rng, n = np.random.default_rng(5), 400
    y = np.zeros(n)
    for i in range(1, n):
        y[i] = 0.5 * y[i - 1] + rng.normal(0, 0.02)
    ours = pooled_scatter([y])
    rho = acf(y, nlags=1, fft=False)[1]
    assert ours is not None
    assert ours.rho == pytest.approx(rho, abs=ours.u_rho)
    assert ours.sigma == pytest.approx(y.std(), rel=0.05)
