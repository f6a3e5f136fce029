"""Offset and drag told apart, zeros of single stops, against known answers."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.conditioning.offsets import own_zero, robust_line, torque_zero
from pipeline.conditioning.rest import Rest, effective_number, reading, rest_of, settled_rest

SPEED = np.linspace(60.0, 190.0, 20)


def readings(offset, a, b, noise=0.3, seed=1):
    return offset + a + b * SPEED + noise * np.random.default_rng(seed).standard_normal(SPEED.size)


def test_turning_and_standing_readings_give_all_three():
    zero = torque_zero(SPEED, readings(40.0, 8.0, 0.05), np.array([40.2, 39.9, 40.0]), includes_drag=True)
    assert zero.separated and zero.how == "turning readings and readings at standstill"
    assert (zero.offset, zero.a, zero.b) == pytest.approx((40.0, 8.0, 0.05), abs=0.6)
    assert zero.at_rest(SPEED) == pytest.approx(48.0 + 0.05 * SPEED, abs=0.3)


def test_the_balances_intercept_does_where_nothing_stands_still():
    zero = torque_zero(
        SPEED, readings(40.0, 8.0, 0.05), np.empty(0), includes_drag=True, intercept=(40.5, 0.8), largest_u=3.0
    )
    assert zero.separated and zero.offset == pytest.approx(40.5) and zero.u_offset == pytest.approx(0.8)


@pytest.mark.parametrize("intercept", [None, (40.5, 8.0), (90.0, 0.5), (-60.0, 0.5)])
def test_without_a_trustworthy_intercept_they_are_not_parted(intercept):
    """Too wide, leaving a negative drag, or one no bearing has: the sum is still right, the split is said to be unknown."""
    zero = torque_zero(
        SPEED,
        readings(40.0, 8.0, 0.05),
        np.empty(0),
        includes_drag=True,
        intercept=intercept,
        largest_u=3.0,
        largest_drag=40.0,
    )
    assert not zero.separated and zero.known
    assert zero.at_rest(SPEED) == pytest.approx(48.0 + 0.05 * SPEED, abs=0.5)


def test_a_sensor_that_sees_no_drag_reads_its_offset_at_any_speed():
    zero = torque_zero(SPEED, readings(40.0, 0.0, 0.0), np.array([40.1]), includes_drag=False)
    assert zero.offset == pytest.approx(40.0, abs=0.3) and zero.at_rest(SPEED) == pytest.approx(zero.offset)


def test_no_reading_is_said_to_be_none():
    zero = torque_zero(np.empty(0), np.empty(0), np.empty(0), includes_drag=True)
    assert not zero.known and zero.offset == 0.0


def test_a_robust_line_withstands_a_fifth_of_wild_points():
    y = readings(0.0, 5.0, 0.1)
    y[::5] += 400.0
    line, _ = robust_line(SPEED, y)
    assert line == pytest.approx([5.0, 0.1], abs=0.8)


@settings(max_examples=30, deadline=None)
@given(st.floats(-50, 50), st.floats(-20, 20), st.floats(-0.5, 0.5))
def test_a_robust_line_is_exact_on_a_line(level, intercept, slope):
    line, covariance = robust_line(SPEED, level + intercept + slope * SPEED)
    assert line == pytest.approx([level + intercept, slope], abs=1e-6)
    assert np.abs(covariance).max() < 1e-6


def test_own_zeros_are_shrunk_when_they_are_noise_and_kept_when_they_are_not():
    rng = np.random.default_rng(5)
    noise, u = 0.5 * rng.standard_normal(60), np.full(60, 0.5)
    quiet, _ = own_zero(noise, u)
    assert np.std(quiet) < 0.25
    drifting = np.linspace(-20, 20, 60) + noise
    kept, uncertainty = own_zero(drifting, u)
    assert kept == pytest.approx(drifting, abs=0.2) and uncertainty == pytest.approx(0.5, abs=0.05)
    one = noise.copy()
    one[7] = 15.0
    assert own_zero(one, u)[0][7] == pytest.approx(15.0)
    missing = drifting.copy()
    missing[3] = np.nan
    value, wide = own_zero(missing, u)
    assert value[3] == 0.0 and wide[3] > 5.0


def test_readings_at_rest_allow_for_correlated_noise():
    rng = np.random.default_rng(2)
    white = rng.standard_normal(400)
    slow = np.convolve(rng.standard_normal(420), np.ones(20) / np.sqrt(20), "valid")[:400]
    assert reading(white).u == pytest.approx(1 / 20, rel=0.4)
    assert reading(slow).u > 2.5 * reading(white).u
    spiky = white.copy()
    spiky[50] = 1e4
    assert abs(reading(spiky).value) < 0.2
    assert reading(np.array([1.0, np.nan])) is None
    assert effective_number(np.ones(10)) == 10


def test_rest_pressure_is_the_lowest_level_held():
    rng = np.random.default_rng(3)
    pressure = np.r_[np.full(50, 0.3e5), np.linspace(0.3e5, 40e5, 12), np.full(300, 40e5)] + 8e3 * rng.standard_normal(
        362
    )
    found = rest_of(pressure)
    assert found.level == pytest.approx(0.3e5, abs=4e3) and found.noise == pytest.approx(8e3, rel=0.5)
    pressure[100:102] = -1e6
    assert rest_of(pressure).level == pytest.approx(0.3e5, abs=4e3)
    clipped = Rest(38e5, 0.0, 40e5)
    assert settled_rest(clipped, 0.3e5, 1e5) == 0.3e5
    assert settled_rest(Rest(1.2e5, 0.0, 40e5), 0.3e5, 1e5) == 1.2e5
    assert rest_of(np.full(5, np.nan)) == Rest(0.0, 0.0, 0.0, False)
    ramp = np.linspace(0.0, 20e5, 90) ** 0.5 * 20e5**0.5
    assert not rest_of(ramp).known and rest_of(pressure).known
