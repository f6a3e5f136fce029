"""Torque ripple: given where the samples tell it, and none where they do not."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.stops.ripple import ripple

RATE = 100.0


def braking(a_turn: float, seconds: float = 4.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Time, speed and torque at a constant speed with so many samples a turn; 2 and 1 % of ripple, and noise of 1 %."""
    time = np.arange(int(seconds * RATE)) / RATE
    speed = np.full(time.size, 2 * np.pi * RATE / a_turn)
    angle = speed * time
    noise = np.random.default_rng(3).normal(0.0, 10.0, time.size)
    return time, speed, 1000.0 * (1 + 0.02 * np.cos(angle) + 0.01 * np.cos(2 * angle)) + noise


@pytest.mark.parametrize("a_turn", [2.6, 3.3, 4.0])
def test_of_few_samples_a_turn_once_a_turn_is_told(a_turn: float) -> None:
    found = ripple(*braking(a_turn))
    assert found.keys() == {1} and found[1][0] == pytest.approx(0.02, abs=4 * found[1][1])


@pytest.mark.parametrize("a_turn", [3.0, 3.001])
def test_at_three_samples_a_turn_twice_a_turn_reads_as_once_and_neither_is_told(a_turn: float) -> None:
    assert ripple(*braking(a_turn)) == {}


def test_a_torque_that_is_mostly_noise_about_nothing_has_no_ripple() -> None:
    time, speed, torque = braking(8.0)
    swinging = 1000.0 * np.cos(speed * time) + 30.0
    assert ripple(time, speed, torque).keys() == {1, 2}
    assert 1 not in ripple(time, speed, swinging)


def test_a_channel_of_which_the_last_part_stands_at_a_shaft_at_rest_has_none() -> None:
    time, speed, torque = braking(8.0)
    speed[time.size // 5 :] = 0.0  # damaged: few turns are left, and all else looks like one place of the shaft
    assert ripple(time, speed, torque) == {}
