"""Charts, run lengths, change points, trends and outlier tests against published figures."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import theilslopes

from pipeline.drift.change_point import change_of_level, level_cusum, rank_change, split_statistics
from pipeline.drift.charts import cusum, ewma, ewma_limit, first_beyond
from pipeline.drift.outliers import cochran_critical, grubbs, grubbs_critical
from pipeline.drift.run_length import cusum_run_length, ewma_run_length, shewhart_run_length
from pipeline.drift.trend import hamed_rao_factor, monotone_trend


@pytest.mark.published(
    "weighted moving average and its limits, every printed value",
    source="NIST/SEMATECH e-Handbook, 6.3.2.4",
    origin="from memory",
)
def test_ewma_of_the_handbook():
    """NIST/SEMATECH e-Handbook 6.3.2.4, from memory; every printed value."""
    x = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5]
    x += [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    printed = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33]
    printed += [50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]
    z = ewma(x, 0.3, start=50.0)
    assert np.array_equal(np.round(z, 2), printed)
    limit = float(ewma_limit(0.3, 3.0, 2.0539))
    assert (50 + limit, 50 - limit) == (pytest.approx(52.5884, abs=1e-4), pytest.approx(47.4116, abs=1e-4))
    assert first_beyond(np.abs(z - 50), limit) is None
    assert float(ewma_limit(0.3, 3.0, 2.0539, 200)) == pytest.approx(limit)
    assert float(ewma_limit(0.3, 3.0, 2.0539, 1)) == pytest.approx(0.3 * 3 * 2.0539)


@pytest.mark.published(
    "cumulative sum and the group where it signals", source="NIST/SEMATECH e-Handbook, 6.3.2.3", origin="from memory"
)
def test_cusum_of_the_handbook():
    """NIST/SEMATECH e-Handbook 6.3.2.3, from memory; signals at group 14."""
    x = [324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600]
    x += [324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350]
    upper, lower = cusum(x, 325.0, 0.3175)
    assert np.allclose(upper[12:], [3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04], atol=0.006)
    limit = 2 * np.log(1 / 0.00135) * 0.3175
    assert limit == pytest.approx(4.1959, abs=1e-4)
    assert first_beyond(upper, limit) == 13
    assert lower.max() < 1


@pytest.mark.published(
    "run lengths of the cumulative sum", source="NIST/SEMATECH e-Handbook, 6.3.2.3", origin="from memory"
)
@pytest.mark.parametrize(
    ("limit", "lengths"),
    [(4, (168, 74.2, 26.6, 13.3, 8.38, 4.75, 3.34)), (5, (465, 139, 38.0, 17.0, 10.4, 5.75, 4.01))],
)
def test_cusum_run_lengths(limit, lengths):
    """Two-sided k = 0.5 (NIST/SEMATECH e-Handbook 6.3.2.3, from memory)."""
    for shift, published in zip((0, 0.25, 0.5, 0.75, 1, 1.5, 2), lengths, strict=True):
        assert cusum_run_length(0.5, limit, shift, sides=2) == pytest.approx(published, rel=4e-3)


@pytest.mark.published("the same, to the last digit", source="an independent quadrature", origin="two programs")
def test_cusum_run_lengths_to_the_last_digit():
    """Agreed by an independent quadrature."""
    for limit, shift, length in ((4, 0, 167.684), (4, 0.5, 26.630), (4, 1, 8.383), (5, 0, 465.444), (5, 1, 10.376)):
        assert cusum_run_length(0.5, limit, shift, sides=2) == pytest.approx(length, abs=2e-3)


@pytest.mark.published(
    "run lengths of the weighted moving average",
    source="Lucas and Saccucci, Technometrics 32 (1990)",
    origin="from memory",
)
@pytest.mark.parametrize(
    ("weight", "width", "at_one"),
    [(0.05, 2.615, 11.4), (0.10, 2.814, 10.3), (0.20, 2.962, 10.5), (0.25, 2.998, 11.1), (0.40, 3.054, 14.3)],
)
def test_ewma_run_lengths(weight, width, at_one):
    """Lucas and Saccucci, Technometrics 32 (1990), from memory: 500 in control."""
    assert ewma_run_length(weight, width) == pytest.approx(500, rel=3e-3)
    assert ewma_run_length(weight, width, 1.0) == pytest.approx(at_one, abs=0.06)


@pytest.mark.published("the same, to the last digit", source="an independent quadrature", origin="two programs")
def test_ewma_run_lengths_to_the_last_digit():
    """Agreed by an independent quadrature."""
    for shift, length in ((0, 499.735), (0.5, 41.764), (1, 10.542), (2, 3.743)):
        assert ewma_run_length(0.2, 2.962, shift) == pytest.approx(length, abs=2e-3)


@pytest.mark.published(
    "run length of single values beyond three standard deviations",
    source="NIST/SEMATECH e-Handbook, 6.3.2",
    origin="from memory",
)
def test_shewhart_run_lengths():
    """3 sigma: 370.4 in control, 43.9 at 1 sigma (NIST/SEMATECH e-Handbook 6.3.2, from memory)."""
    assert shewhart_run_length(3.0) == pytest.approx(370.398, abs=1e-3)
    assert shewhart_run_length(3.0, 1.0) == pytest.approx(43.9, abs=0.05)


def test_simulated_run_length_agrees():
    """The chart's own recursion, run on random numbers, has the run length that the solver gives."""
    rng = np.random.default_rng(3)
    upper, lower = cusum(rng.standard_normal((4000, 400)), 0.0, 0.5)
    beyond = np.maximum(upper, lower) > 4.0
    quiet = ~beyond.any(axis=1)
    length = np.where(quiet, 400, np.argmax(beyond, axis=1) + 1)
    # runs cut at 400 are exponential from there on, so the rate is signals over points seen
    assert length.sum() / (~quiet).sum() == pytest.approx(cusum_run_length(0.5, 4.0, sides=2), rel=0.06)


def nile() -> np.ndarray:
    from statsmodels.datasets import nile as data

    return data.load_pandas().data.volume.to_numpy(float)


@pytest.mark.published(
    "place of a change of level and its interval: the Nile's flow",
    source="Cobb 1978; supF and interval as R's strucchange prints them",
    origin="from memory",
)
def test_change_of_the_nile():
    """Break after observation 28 = 1898 (Cobb 1978); supF 75.93, 95 % interval 1895 to 1902 (R strucchange, from memory)."""
    y = nile()
    found = change_of_level(y, least=15)
    assert (found.after, 1870 + found.low, 1870 + found.high) == (28, 1895, 1902)
    assert found.level_before == pytest.approx(1097.75)
    assert found.level_after == pytest.approx(849.97222)
    assert found.f == pytest.approx(75.9298, abs=1e-3)
    assert split_statistics(y).argmax() + 1 == 28
    assert level_cusum(y) == pytest.approx(2.95177, abs=1e-5)


@pytest.mark.published("change point by ranks: the Nile's flow", source="Pettitt's test, K 1617", origin="from memory")
def test_rank_change_of_the_nile():
    """Pettitt's K 1617, p 3.6e-7."""
    found = rank_change(nile())
    assert (found.after, found.statistic) == (28, 1617.0)
    assert found.p == pytest.approx(3.591e-7, rel=1e-3)


@pytest.mark.published(
    "monotone trend: the Nile's flow",
    source="Sen's slope and the Mann-Kendall statistic of the same series",
    origin="from memory",
)
def test_trend_of_the_nile():
    """Sen's slope -2.6 a year, S -1387, Z -4.128."""
    trend = monotone_trend(nile(), np.arange(1871, 1971))
    assert trend.slope == pytest.approx(-2.6)
    assert trend.s == -1387
    assert trend.z == pytest.approx(-4.128, abs=5e-4)
    assert trend.low < -2.6 < trend.high < 0
    widened = monotone_trend(nile(), correlated=True)
    assert widened.variance_factor > 1
    assert abs(widened.z) < abs(trend.z)


@pytest.mark.published(
    "Sen's slope and its interval",
    source="Sen, J. American Statistical Association 63 (1968), section 5, as the tests of SciPy cite it",
    origin="published",
)
def test_interval_of_sens_example():
    """Sen, J. American Statistical Association 63 (1968), example of section 5: slope 4, 93 % interval 3.71 to 4.38 (as the
    tests of SciPy cite it)."""
    trend = monotone_trend([9, 15, 19, 20, 45, 55, 78], [1, 2, 3, 4, 10, 12, 18], confidence=0.93)
    assert trend.slope == pytest.approx(4.0)
    assert (trend.low, trend.high) == (pytest.approx(3.71, abs=5e-3), pytest.approx(4.38, abs=5e-3))


@settings(deadline=None, max_examples=60)
@given(st.lists(st.floats(-1, 1), min_size=4, max_size=30), st.sampled_from([0.8, 0.95, 0.99]))
def test_a_mirrored_series_has_the_mirrored_interval(values, confidence):
    trend, mirrored = (
        monotone_trend(values, confidence=confidence),
        monotone_trend(np.negative(values), confidence=confidence),
    )
    assert (mirrored.low, mirrored.high) == (-trend.high, -trend.low)
    assert mirrored.slope == -trend.slope


@pytest.mark.parametrize("seed", range(8))
def test_interval_agrees_with_an_independent_one(seed):
    """SciPy's rounds the ranks to the nearest, ours outwards: at most one ordered slope wider on each side, never narrower."""
    y = np.random.default_rng(seed).standard_normal(int(8 + 5 * seed)).cumsum()
    trend, other = monotone_trend(y), theilslopes(y, np.arange(len(y)), 0.95)
    i, j = np.triu_indices(len(y), 1)
    slopes = np.sort((y[j] - y[i]) / (j - i))
    ours, theirs = (
        np.searchsorted(slopes, ends) for ends in ((trend.low, trend.high), (other.low_slope, other.high_slope))
    )
    assert theirs[0] - ours[0] in (0, 1) and ours[1] - theirs[1] in (0, 1)


def test_trend_variance_factor_is_one_without_correlation():
    rng = np.random.default_rng(2)
    factors = [hamed_rao_factor(rng.standard_normal(60), np.arange(60), 0.0) for _ in range(60)]
    assert np.median(factors) < 1.3


@pytest.mark.published("outlier among ten: copper wire", source="ASTM E178", origin="from memory")
def test_grubbs():
    """ASTM E178, copper wire: T 2.390, critical 2.176 at 5 % and 2.410 at 1 %, from memory."""
    wire = [568, 570, 570, 570, 572, 572, 572, 578, 584, 596]
    found = grubbs(wire)
    assert (found.statistic, found.critical) == (pytest.approx(2.3901, abs=1e-4), pytest.approx(2.1761, abs=1e-4))
    assert found.beyond and found.where == 9
    assert not grubbs(wire, 0.01).beyond
    assert grubbs_critical(10, 0.01) == pytest.approx(2.4097, abs=1e-4)


@pytest.mark.published(
    "outlier among eight: uranium",
    source="Tietjen and Moore; NIST/SEMATECH e-Handbook, 1.3.5.17.1",
    origin="from memory",
)
def test_grubbs_uranium():
    """Tietjen and Moore, NIST/SEMATECH e-Handbook 1.3.5.17.1: G 2.4688 > 2.0317, from memory."""
    found = grubbs([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57])
    assert (found.statistic, found.critical) == (pytest.approx(2.4688, abs=1e-4), pytest.approx(2.0317, abs=1e-4))


@pytest.mark.published(
    "critical values of the largest of several variances",
    source="ISO 5725-2, table of Cochran's test",
    origin="from memory",
)
@pytest.mark.parametrize(
    ("groups", "size", "level", "value"), [(8, 3, 0.05, 0.5157), (8, 3, 0.01, 0.6152), (10, 2, 0.05, 0.6020)]
)
def test_cochran(groups, size, level, value):
    """ISO 5725-2, critical values of Cochran's test, from memory."""
    assert cochran_critical(groups, size, level) == pytest.approx(value, abs=1e-4)


@given(st.lists(st.floats(-50, 50), min_size=8, max_size=40), st.floats(-100, 100))
@settings(deadline=None, max_examples=60)
def test_change_point_does_not_depend_on_the_level(values, shift):
    y = np.round(np.array(values), 3)
    if np.ptp(y) < 1e-2:
        return
    if split_statistics(y).max() < 1e6:
        assert np.allclose(split_statistics(y), split_statistics(y + shift), rtol=1e-4, atol=1e-6)
    found = change_of_level(y)
    assert 3 <= found.after <= len(y) - 3
    assert found.low <= found.after <= found.high


@given(st.integers(5, 60), st.floats(0.05, 1.0))
@settings(deadline=None, max_examples=40)
def test_ewma_of_a_constant_is_the_constant(count, weight):
    assert np.allclose(ewma(np.full(count, 3.0), weight, start=3.0), 3.0)
