"""The energy balance of a test's stops: ratio, statistics, what a ratio off 1 may come from."""

import numpy as np
import pytest

from pipeline.conditioning.energy_balance import BalanceLine
from pipeline.stops.faults.balance import candidates, ratio_statistics
from pipeline.stops.work import energy_ratio


def test_ratio_needs_energy_given_up():
    assert energy_ratio(99.0, 1.0, 100.0) == 1.0
    assert energy_ratio(99.0, 1.0, 80.0, 20.0) == 1.0
    assert energy_ratio(99.0, 1.0, 0.0) is None and energy_ratio(np.nan, 1.0, 100.0) is None


def test_statistics_of_ratios():
    values = np.r_[1.0 + 0.0005 * np.arange(100), np.nan]
    found = ratio_statistics(values)
    assert found.trend_per_100_stops == pytest.approx(0.05, abs=1e-6)
    assert found.ratio_median == pytest.approx(1.02475)
    assert ratio_statistics(np.array([np.nan])).why
    assert ratio_statistics(np.array([1.0, 1.01])).trend_why


@pytest.mark.parametrize(
    ("median", "cause"),
    [(0.7376, "torque in lbf ft labelled N m"), (9.549, "speed in rad/s labelled rpm"), (1 / 9.549, "speed in rpm labelled rad/s"),
     (8.8508, "torque in lbf in labelled N m"), (0.04214, "inertia in lb ft^2 entered as kg m^2")],
)  # fmt: skip
def test_like_unit_slips_come_first(median, cause):
    found = candidates(median, None, limit=0.03)
    assert cause in [c.cause for c in found[:2]]
    assert candidates(1.01, None, limit=0.03) == [] and candidates(None, None, limit=0.03) == []


def test_an_offset_is_named_where_the_lines_slope_is_one():
    line = BalanceLine(gain=1.0, u_gain=0.005, zero=60.0, u_zero=2.0, points=200)
    assert "offset or drag" in candidates(1.07, line, limit=0.03)[0].cause
