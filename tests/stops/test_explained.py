"""What a deviation over the stops follows: told right where it is there, and nothing where it is not."""

import numpy as np
import pytest

from pipeline.stops.faults.explained import explained

N = 120


def rows(seed: int):
    """Noise of 0.6 %, three wanted levels in turn, temperatures and mu that do not follow each other."""
    rng = np.random.default_rng(seed)
    groups = np.repeat([12.0, 25.0, 50.0], N // 3)[rng.permutation(N)]
    return rng.normal(0, 0.006, N), groups, rng.uniform(60, 650, N), rng.uniform(0.2, 0.5, N)


def told(y, groups, temperature, torque, limit=0.013):
    return explained(y, groups, temperature=temperature, others={"torque": torque}, limit=limit)


@pytest.mark.parametrize("seed", range(5))
def test_each_cause_is_told_as_itself(seed):
    y, groups, temperature, torque = rows(seed)
    cases = {
        "time": y + 0.03 * (np.arange(N) >= 70),
        "drift": y + 0.05 * np.arange(N) / N,
        "temperature": y - 0.04 * (temperature > 450),
        "torque": y + 0.15 * torque,
    }
    for what, values in cases.items():
        cause = told(values, groups, temperature, torque)
        assert cause is not None and cause.what == what
    step = told(cases["time"], groups, temperature, torque)
    assert step.size == pytest.approx(0.03, abs=4 * step.u) and abs(step.at - 70) <= 3
    assert temperature[told(cases["temperature"], groups, temperature, torque).at] == pytest.approx(450, abs=40)


def test_noise_and_levels_that_a_rig_holds_differently_are_no_cause():
    for seed in range(60):
        y, groups, temperature, torque = rows(seed)
        by_level = 0.03 * (groups == 12.0)
        assert told(y + by_level, groups, temperature, torque) is None


def test_a_step_below_the_limit_is_not_told():
    y, groups, temperature, torque = rows(1)
    assert told(y + 0.01 * (np.arange(N) >= 60), groups, temperature, torque) is None


def test_a_lone_wild_stop_is_no_step():
    y, groups, temperature, torque = rows(2)
    y[60] += 0.5
    assert told(y, groups, temperature, torque) is None


def test_a_stop_whose_ratio_is_beyond_all_measure_moves_no_other():
    y = np.random.default_rng(3).normal(0, 2e-4, 27)
    y[21] = 6.5
    assert told(y, np.zeros(27), np.linspace(100, 300, 27), np.linspace(0.3, 0.4, 27), limit=0.02) is None
