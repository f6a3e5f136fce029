"""Torque beside a braking that the pressure does not explain."""

import numpy as np
import pytest

from pipeline.conditioning.faults.cut_short import speed_jumps, torque_without_pressure

TIME = np.arange(0.0, 8.0, 0.01)


def torque_of(start: float, end: float, level: float = 800.0) -> np.ndarray:
    noise = 4.0 * np.random.default_rng(3).standard_normal(TIME.size)
    return (
        8.0 + level * np.clip((TIME - start) / 0.15, 0, 1) * np.exp(-np.clip(TIME - end + 0.2, 0, None) / 0.05) + noise
    )


def found(torque, *, start=2.0, end=5.0, lag=0.012, threshold=0.05, after=True):
    return torque_without_pressure(
        TIME, torque, start=start, end=end, plateau=800.0 + 8.0, lag=lag, threshold=threshold, after=after
    )  # fmt: skip


@pytest.mark.parametrize("late", [-0.05, 0.0, 0.05])
def test_a_sound_braking_has_none(late):
    assert found(torque_of(2.0 + late, 5.0 + late), lag=abs(late)) == []


@pytest.mark.parametrize("lost", [0.25, 0.6, 1.5])
def test_a_start_that_the_pressure_lost_is_found(lost):
    (one,) = found(torque_of(2.0, 5.0), start=2.0 + lost)
    assert one.severity == "suspect"
    assert one.channel == "pressure"
    assert 2.0 <= one.start_s < one.end_s <= 2.0 + lost
    assert one.evidence["braking_nm"] == 808.0


@pytest.mark.parametrize("lost", [0.12, 0.18])
def test_a_little_lost_at_the_start_is_found_where_the_lag_is_known(lost):
    (one,) = found(torque_of(2.0, 5.0), start=2.0 + lost)
    assert 2.0 <= one.start_s <= 2.0 + lost
    assert found(torque_of(2.0, 5.0), start=2.0 + lost, lag=None) == []
    # A brake that only grips at half its pressure explains the smaller loss, not the larger one.
    assert len(found(torque_of(2.0, 5.0), start=2.0 + lost, threshold=0.5)) == (lost > 0.15)


def test_an_end_that_the_pressure_lost_is_found_unless_the_shaft_stands():
    (one,) = found(torque_of(2.0, 5.0), end=4.2)
    assert one.start_s > 4.2
    assert found(torque_of(2.0, 5.0), end=4.2, after=False) == []


def test_a_dragging_brake_at_a_tenth_of_the_torque_is_none():
    torque = torque_of(2.0, 5.0)
    torque[:150] += 80.0
    assert found(torque) == []


def speed_of(rate: float = 40.0) -> np.ndarray:
    noise = 0.05 * np.random.default_rng(4).standard_normal(TIME.size)
    return 150.0 - rate * np.clip(TIME - 2.0, 0, 3.0) + noise


def jumps(speed, *, start=2.0, end=5.0, first=150.0, last=30.0):
    return speed_jumps(TIME, speed, start=start, end=end, first=first, last=last)


def test_a_shaft_that_only_brakes_does_not_jump():
    assert jumps(speed_of()) == []
    coarse = np.interp(TIME, TIME[::10], speed_of()[::10])
    assert speed_jumps(TIME[::10], coarse[::10], start=2.0, end=5.0, first=150.0, last=30.0) == []


@pytest.mark.parametrize("lost", [(1.2, 2.2), (3.0, 3.1), (4.6, 5.5)])
def test_lost_speed_samples_are_a_jump(lost):
    speed = np.where((lost[0] < TIME) & (lost[1] > TIME), 0.0, speed_of())
    (one,) = jumps(speed)
    assert one.severity == "suspect"
    assert lost[0] - 0.02 <= one.start_s <= lost[0] + 0.02
