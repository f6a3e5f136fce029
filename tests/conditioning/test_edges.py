"""A moment that falls on a sample: whether it counts is the same whatever the last digit of its time is."""

import numpy as np
import pytest

from pipeline.conditioning.time_base import EDGE, not_after, not_before, row_at, steps_in, steps_to_hold, within

SAMPLES = 50


@pytest.mark.parametrize("step", [0.02, 0.01, 0.005, 0.001, 1 / 60])
@pytest.mark.parametrize("begin", [0.0, 33.93, 86_340.1])
def test_a_sample_at_the_edge_counts_whatever_its_last_digit(step, begin):
    time = begin + step * np.arange(SAMPLES)
    for toward in (-np.inf, np.inf, None):
        moved = time if toward is None else np.nextafter(np.nextafter(time, toward), toward)
        start, end = begin + 10 * step, begin + 40 * step
        assert np.flatnonzero(within(moved, start, end)).tolist() == list(range(10, 41))
        assert np.flatnonzero(not_before(moved, end)).tolist() == list(range(40, SAMPLES))
        assert np.flatnonzero(not_after(moved, start)).tolist() == list(range(11))
        assert row_at(moved, start, 0, SAMPLES) == 10 and row_at(moved, start, 20, 30) == 20
        assert row_at(moved, begin + step * SAMPLES, 0, SAMPLES) == SAMPLES
        assert row_at(moved, begin - 1.0, 5, 30) == 5 and row_at(moved, begin, 30, 30) == 30


def test_what_truly_misses_the_edge_does_not_count():
    time = 0.02 * np.arange(SAMPLES)
    late = 10 * 0.02 + 2 * EDGE * 0.02
    assert row_at(time, late, 0, SAMPLES) == 11 and not within(time, late, 1.0)[10]
    assert not not_after(time, 10 * 0.02 - 2 * EDGE * 0.02)[10]


def test_one_sample_has_no_step_and_is_taken_as_it_is():
    assert row_at(np.array([1.0]), 1.0, 0, 1) == 0 and row_at(np.array([1.0]), 1.1, 0, 1) == 1
    assert within(np.array([1.0]), 1.0, 2.0).tolist() == [True]


@pytest.mark.parametrize("digit", [-1e-15, 0.0, 1e-15])
def test_counts_of_steps_do_not_hang_on_the_steps_last_digit(digit):
    step = 0.02 * (1 + digit)
    assert steps_in(0.05, step) == 3 and steps_in(0.049, step) == 2  # two and a half count up
    assert steps_to_hold(0.3, step) == 15 and steps_to_hold(0.301, step) == 16
