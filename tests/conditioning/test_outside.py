"""Torque beside a braking that the pressure does not explain."""

import numpy as np
import pytest

from pipeline.conditioning.faults.outside import torque_without_pressure

TIME = np.arange(0.0, 8.0, 0.01)


def torque_of(start: float, end: float, level: float = 800.0) -> np.ndarray:
    noise = 4.0 * np.random.default_rng(3).standard_normal(TIME.size)
    return 8.0 + level * np.clip((TIME - start) / 0.15, 0, 1) * np.exp(-np.clip(TIME - end, 0, None) / 0.05) + noise


def found(torque, *, start=2.0, end=5.0, lag=0.012, after=True):
    return torque_without_pressure(
        TIME, torque, start=start, end=end, plateau=800.0 + 8.0, lag=lag, after=after
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


def test_an_end_that_the_pressure_lost_is_found_unless_the_shaft_stands():
    (one,) = found(torque_of(2.0, 5.0), end=4.2)
    assert one.start_s > 4.2
    assert found(torque_of(2.0, 5.0), end=4.2, after=False) == []


def test_a_dragging_brake_at_a_tenth_of_the_torque_is_none():
    torque = torque_of(2.0, 5.0)
    torque[:150] += 80.0
    assert found(torque) == []
