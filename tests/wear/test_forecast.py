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
