"""Whether a part lasts to the program's end, by rates over work."""

import numpy as np
import pytest
from scipy.stats import t

from pipeline.wear.forecast import EXPECTED, EXPECTED_DOF, Loss, outlook


def losses(*um, mj=10.0):
    return [Loss(one, 1.0, mj) for one in um]


def test_expected_end_is_the_mean_rate_times_the_work_ahead():
    found = outlook(losses(100.0, 120.0, 80.0), 2000.0, 60.0, 0.95)
    assert found.end_um == pytest.approx(2000.0 - 10.0 * 60.0)
    assert found.lasts == "yes" and found.rates == 3


def test_equal_rates_leave_the_expected_scatter_and_students_quantile():
    found = outlook(losses(100.0, 100.0, 100.0), 2000.0, 60.0, 0.95)
    dof = EXPECTED_DOF + 2
    reach = t.ppf(0.975, dof) * np.sqrt(EXPECTED_DOF * EXPECTED**2 / dof * (1 + 1 / 3))
    assert found.low_um == pytest.approx(2000.0 - 600.0 * np.exp(reach))
    assert found.high_um == pytest.approx(2000.0 - 600.0 * np.exp(-reach))


@pytest.mark.parametrize("work", [(10.0, 10.0), (10.0, 10.0, 10.0, 10.0), (30.0, 3.0), (40.0, 10.0, 2.0, 2.0)])
def test_the_scatter_of_the_rates_is_told_without_bias_and_a_use_of_little_work_makes_the_mean_no_surer(work):
    """Read back from the interval: what the rates' squares add is n - 1 times the variance that they were drawn with."""
    rng, sigma, left = np.random.default_rng(11), 0.1, 1e6
    n, mj = len(work), np.array(work)
    of_mean = float((mj**2).sum() / mj.sum() ** 2)
    added = []
    for rates in 10.0 * np.exp(sigma * rng.standard_normal((4000, n))):
        found = outlook([Loss(float(r * e), 1e-9, float(e)) for r, e in zip(rates, mj, strict=True)], left, 60.0, 0.95)
        reach = np.log((left - found.low_um) / (left - found.end_um))
        dof = EXPECTED_DOF + n - 1
        added.append((reach / t.ppf(0.975, dof)) ** 2 * dof / (1 + of_mean) - EXPECTED_DOF * EXPECTED**2)
    assert np.mean(added) == pytest.approx((n - 1) * sigma**2, rel=0.07)


def test_doubtful_where_the_expected_end_is_below_the_minimum_and_no_where_all_the_interval_is():
    assert outlook(losses(100.0, 100.0, 100.0), 500.0, 60.0, 0.95).lasts == "doubtful"
    assert outlook(losses(100.0, 100.0, 100.0), 100.0, 60.0, 0.95).lasts == "no"
    assert outlook(losses(100.0), -1.0, 60.0, 0.95).lasts == "no"
    assert outlook(losses(100.0), 1.0, 0.0, 0.95).lasts == "yes"


def test_bedding_tells_no_rate():
    alone = outlook([Loss(300.0, 1.0, 10.0, bedding=True)], 100.0, 60.0, 0.95)
    assert (alone.lasts, alone.end_um, alone.rates) == ("not known", None, 0)
    both = outlook([Loss(300.0, 1.0, 10.0, bedding=True), *losses(50.0, 50.0)], 1000.0, 60.0, 0.95)
    assert both.end_um == pytest.approx(1000.0 - 300.0)


def test_a_forecast_holds_what_comes_at_least_as_often_as_it_claims():
    """Rates that scatter from use to use by as much as is expected, three seen and one to come: what is expected counts as
    four readings, though here it is exact, so that the interval is wide."""
    rng = np.random.default_rng(5)
    rates = 10.0 * np.exp(EXPECTED * rng.standard_normal((2000, 4)))
    held = 0
    for *seen, ahead in rates:
        found = outlook(losses(*(10.0 * np.array(seen))), 10_000.0, 60.0, 0.95)
        assert found.low_um is not None and found.high_um is not None
        held += found.low_um <= 10_000.0 - 60.0 * ahead <= found.high_um
    assert 0.94 <= held / len(rates) <= 0.985
