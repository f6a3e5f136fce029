"""One stop's pressure that nothing but the schedule and its own torque contradicts."""

import numpy as np
import pytest

from pipeline.conditioning.faults.against_torque import (
    coarse_values,
    pressure_jumps,
    pressure_losses,
    torque_losses,
)

TIME = np.arange(0.0, 3.0, 0.01)


def braking() -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(6)
    pressure = 25e5 * np.clip(TIME / 0.12, 0, 1) + 6e3 * rng.standard_normal(TIME.size)
    torque = 700.0 * np.clip((TIME - 0.03) / 0.12, 0, 1) + 5 * rng.standard_normal(TIME.size)
    return pressure, torque


def test_pressure_that_steps_alone_is_a_jump():
    pressure, torque = braking()
    assert pressure_jumps(TIME, pressure, torque, plateau=25e5) == []
    stepped = np.where((TIME > 1.2) & (TIME < 1.9), 1.3 * pressure, pressure)
    (one,) = pressure_jumps(TIME, stepped, torque, plateau=25e5)
    assert one.evidence["jumps"] == 2
    assert (one.start_s, one.end_s) == (pytest.approx(1.2, abs=0.02), pytest.approx(1.9, abs=0.02))


def test_a_step_that_torque_follows_is_none():
    pressure, torque = braking()
    gain = np.where(TIME > 1.5, 1.3, 1.0)
    assert pressure_jumps(TIME, gain * pressure, np.roll(gain, 1) * torque, plateau=25e5) == []


@pytest.mark.parametrize(("seconds", "found"), [(0.02, False), (0.03, True), (0.4, True)])
def test_pressure_that_is_lost_for_a_while_is_told(seconds, found):
    pressure, torque = braking()
    gone = (TIME > 1.2) & (1.2 + seconds + 0.005 > TIME)
    assert pressure_losses(TIME, pressure, torque, plateau=25e5) == []
    assert bool(pressure_losses(TIME, np.where(gone, 1e3, pressure), torque, plateau=25e5)) is found


def test_a_brake_that_is_let_go_and_applied_again_loses_nothing():
    pressure, torque = braking()
    gone = (TIME > 1.2) & (TIME < 1.5)
    assert pressure_losses(TIME, np.where(gone, 1e3, pressure), np.where(gone, 5.0, torque), plateau=25e5) == []


def test_pressure_that_a_torque_control_lowers_is_no_loss():
    _, torque = braking()
    pressure = 25e5 * np.clip(TIME / 0.12, 0, 1) * np.interp(TIME, [0, 3], [2.2, 0.8])
    assert pressure_losses(TIME, pressure, torque, plateau=25e5) == []


@pytest.mark.parametrize(("step", "found"), [(0.02e5, False), (1e5, False), (5e5, True), (10e5, True)])
def test_values_in_wide_steps_are_coarse(step, found):
    pressure, torque = braking()
    swinging = pressure + 4e5 * np.sin(7 * TIME)
    assert bool(coarse_values(np.round(swinging / step) * step, torque)) is found


UNKNOWN = {
    "all": slice(None), "first half": slice(0, 150), "second half": slice(150, None), "but one": slice(1, None),
    "in the middle": slice(100, 200),
}  # fmt: skip


@pytest.mark.parametrize("part", UNKNOWN)
@pytest.mark.parametrize("name", ["pressure", "torque", "both"])
@pytest.mark.parametrize("search", [pressure_jumps, pressure_losses])
def test_missing_values_are_no_fault_of_the_pressure_and_raise_nothing(search, name, part):
    """Nothing known of torque or pressure says nothing of a jump; what is not a number is told elsewhere."""
    pressure, torque = braking()
    for values in {"pressure": [pressure], "torque": [torque], "both": [pressure, torque]}[name]:
        values[UNKNOWN[part]] = np.nan
    assert search(TIME, pressure, torque, plateau=25e5) == []


def test_a_recording_without_noise_is_not_coarse():
    pressure = 40e5 * np.clip(TIME / 0.12, 0, 1)
    assert coarse_values(pressure, 18.0 * pressure / 1e5) == []


def braking_at(rate: float, lost: list[tuple[float, float]]):
    """A braking of 3 s: torque 500 N m and pressure 25 bar with noise, torque at 8 N m in the spans `lost` (s)."""
    rng = np.random.default_rng(1)
    time = np.arange(0, 3, 1 / rate)
    torque, pressure = 500 + rng.normal(0, 4, time.size), 25e5 + rng.normal(0, 6e3, time.size)
    for start, end in lost:
        torque[(time >= start) & (time < end)] = 8.0
    return time, torque, pressure


@pytest.mark.parametrize("rate", [100.0, 1000.0])
@pytest.mark.parametrize("length", [0.03, 0.06, 0.2])
def test_torque_lost_for_moments_is_told(rate, length):
    time, torque, pressure = braking_at(rate, [(1.0, 1.0 + length), (2.0, 2.0 + length)])
    found = torque_losses(time, torque, pressure, plateau=25e5, full=500.0)
    assert [f.code for f in found] == ["torque_lost"]
    assert found[0].evidence["losses"] == 2
    assert found[0].evidence["samples"] == pytest.approx(2 * length * rate, abs=2)


def test_torque_that_falls_with_the_pressure_or_at_the_end_or_slowly_is_not_lost():
    time, torque, pressure = braking_at(100.0, [])
    assert torque_losses(time, torque, pressure, plateau=25e5, full=500.0) == []
    released = (time >= 1.0) & (time < 1.1)
    both = np.where(released, 8.0, torque), np.where(released, 1e5, pressure)
    assert torque_losses(time, *both, plateau=25e5, full=500.0) == []
    ended = np.where(time > 2.9, 8.0, torque)
    assert torque_losses(time, ended, pressure, plateau=25e5, full=500.0) == []
    grabbing = torque * (1 - 0.6 * np.exp(-(((time - 1.5) / 0.15) ** 2)))
    assert torque_losses(time, grabbing, pressure, plateau=25e5, full=500.0) == []
