"""Lag between channels and the energy balance's line, against known answers."""

import numpy as np
import pytest

from pipeline.conditioning.energy_balance import balance_line, drag_from_balance
from pipeline.conditioning.from_brakings import who_is_late
from pipeline.conditioning.lag import Lag, lag_behind_speed, lag_of_build_up, lag_of_test

STEP = 0.01
TIME = np.arange(-0.5, 1.5, STEP)


def build_up(time, delay=0.0):
    return 40e5 / (1 + np.exp(-(time - 0.2 - delay) / 0.03))


@pytest.mark.parametrize("delay", [-0.061, -0.0137, 0.0, 0.0042, 0.025, 0.0603])
def test_lag_is_found_between_samples(delay):
    found, height = lag_of_build_up(build_up(TIME), 2.5e-4 * build_up(TIME, delay), STEP, longest=0.3)
    assert found == pytest.approx(delay, abs=0.0006) and height > 0.9


def test_unlike_channels_have_no_lag():
    rng = np.random.default_rng(1)
    _, height = lag_of_build_up(rng.standard_normal(TIME.size), rng.standard_normal(TIME.size), STEP, longest=0.3)
    assert height < 0.6
    assert np.isnan(lag_of_build_up(build_up(TIME), np.zeros(TIME.size), STEP, longest=0.3)[0])
    gap = build_up(TIME)
    gap[10] = np.nan
    assert np.isnan(lag_of_build_up(gap, build_up(TIME), STEP, longest=0.3)[0])


@pytest.mark.parametrize("delay", [0.0, 0.03, 0.06])
def test_the_shaft_tells_which_channel_is_late(delay):
    fine = np.arange(-0.5, 3.0, 0.001)
    torque = 900.0 / (1 + np.exp(-(fine - 0.2) / 0.03))
    speed = 150.0 - np.cumsum(torque) * 0.001 / 22.0
    time = np.arange(-0.5, 2.9, STEP)
    found = lag_behind_speed(time, np.interp(time, fine, speed), np.interp(time - delay, fine, torque))
    assert found == pytest.approx(delay, abs=0.004)


def test_a_tests_lag_is_used_only_where_clear_of_zero():
    rng = np.random.default_rng(2)
    assert lag_of_test(0.06 + 0.002 * rng.standard_normal(20), step=STEP).significant
    assert not lag_of_test(0.002 * rng.standard_normal(20), step=STEP).significant
    assert not lag_of_test(np.array([0.06, 0.06]), step=STEP).significant
    nothing = lag_of_test(np.full(5, np.nan), step=STEP)
    assert nothing.value == 0.0 and nothing.stops == 0 and not nothing.significant


def points(gain=1.0, offset=0.0, drift=0.0, n=200, seed=3):
    rng = np.random.default_rng(seed)
    true = rng.uniform(200, 1500, n)
    order = np.linspace(0, 1, n)
    return gain * (1 + drift * (order - 0.5)) * true + offset, true + 4 * rng.standard_normal(n), np.ones(n), order


def test_the_balances_line_gives_gain_and_offset_with_honest_uncertainties():
    z = []
    for seed in range(60):
        torque, momentum, weight, _ = points(gain=1.03, offset=25.0, seed=seed)
        line = balance_line(torque, momentum, weight)
        z.append([(line.gain - 1.03) / line.u_gain, (line.zero - 25.0) / line.u_zero])
    assert np.abs(np.mean(z, axis=0)).max() < 0.5
    assert np.std(z, axis=0) == pytest.approx(1.0, abs=0.35)


def test_a_drifting_gain_does_not_pass_for_an_offset():
    torque, momentum, weight, order = points(offset=25.0, drift=-0.08)
    line = balance_line(torque, momentum, weight, order=order)
    assert line.zero == pytest.approx(25.0, abs=2.5) and line.gain == pytest.approx(1.0, abs=0.004)


def test_torques_too_alike_give_no_line():
    torque, momentum, weight, _ = points()
    near = np.abs(torque - 800) < 20
    assert balance_line(torque[near], momentum[near], weight[near]) is None


def test_drag_that_the_sensor_does_not_see_is_what_the_balance_lacks():
    rng = np.random.default_rng(6)
    speed, torque = rng.uniform(50, 190, 300), rng.uniform(200, 1500, 300)
    momentum = torque + 8.0 + 0.06 * speed + 3 * rng.standard_normal(300)
    a, b, gain, u_drag, _ = drag_from_balance(torque + 40.0, speed, momentum, np.ones(300), 40.0)
    assert a + 120 * b == pytest.approx(8.0 + 0.06 * 120, abs=3 * u_drag) and gain == pytest.approx(1.0, abs=0.003)


@pytest.mark.parametrize(
    ("lag", "behind", "late", "speed"),
    [
        (0.012, 0.012, "torque", 0.0),  # torque behind both
        (-0.03, 0.001, "pressure", 0.0),  # torque and shaft agree
        (-0.018, 0.012, "pressure", 0.0),  # torque late too, but nearer to the shaft than the pressure is
        (0.012, -0.068, "torque", 0.08),  # torque and pressure agree, the shaft comes after
        (0.012, -0.012, "torque", 0.0),  # less than one and a half samples
        (0.0, 0.0, "torque", 0.0),
    ],
)
def test_two_of_three_channels_agree_and_the_third_is_late(lag, behind, late, speed):
    known = Lag(lag, 0.0004, 0.003, 40, abs(lag) > 0.002)
    shaft = Lag(behind, 0.0004, 0.003, 40, abs(behind) > 0.002)
    found = who_is_late(known, shaft, STEP)
    assert found == (late, pytest.approx(speed))
