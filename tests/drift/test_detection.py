"""Limits keep their promise, shapes are what they say, levels and onsets come back."""

import numpy as np
import pytest

from pipeline.drift.change import before_use, candidate_shapes, matched, spreads
from pipeline.drift.detection import detect, limits, problem, residual_operator, shape_scores, simulated_noise
from pipeline.drift.monitoring import watch
from pipeline.drift.noise import Repeatability, covariance, pooled_scatter, whitening
from pipeline.drift.series import series
from pipeline.drift.shapes import glaze_state, glazes, steps
from pipeline.method.drift import Drift
from tests.drift.makers import Truth, long_program, made, short_program

SETTINGS = Drift()


def healthy_problem(noise, program):
    s = series(made(Truth(program=program), 1).stops, SETTINGS)
    w = watch(s, noise, SETTINGS)
    adjusted, _ = matched(s, w.deciding, s.ln_mu)
    spread = spreads(s, w.deciding, noise)
    p = problem(s.stop[w.deciding], adjusted, s.group[w.deciding], s.block[w.deciding], w.baseline, spread, noise, [])
    return s, w, p, spread, candidate_shapes(s, w.deciding)


@pytest.mark.parametrize(("rho", "program"), [(0.0, short_program()), (0.5, long_program())])
def test_false_alarms_at_the_stated_rate(rho, program):
    """2000 fresh healthy series through the whole detection: 1 % alarms, not the several times that of known parameters."""
    noise = Repeatability(0.02, rho, 0.05, 0.003, 1.0, 80.0)
    s, w, p, spread, shapes = healthy_problem(noise, program)
    block = s.block[w.deciding]
    unit, _, _ = shape_scores(p, shapes)
    found = limits(p, simulated_noise(p, noise, spread, block), unit, SETTINGS)
    rng = np.random.default_rng(11)
    root = np.linalg.cholesky(covariance(p.stop, block, spread, rho, noise.block_sigma))
    # the test's scatter is not known: sigma as estimated from 80 degrees of freedom
    fresh = rng.standard_normal((2000, len(p.stop))) @ root.T * np.sqrt(80 / rng.chisquare(80, 2000))[:, None]
    white = fresh @ p.whiten.T
    ratio = np.abs(white @ unit).max(axis=1)
    scaled = fresh @ (p.whiten @ residual_operator(p)).T
    from pipeline.drift.charts import cusum, ewma

    upper, lower = cusum(scaled[:, ~w.baseline], 0.0, SETTINGS.cusum_allowance)
    average = np.abs(ewma(scaled[:, ~w.baseline], SETTINGS.ewma_weight)).max(axis=1)
    alarms = (ratio > found.ratio) | (np.maximum(upper, lower).max(axis=1) > found.cusum) | (average > found.ewma)
    assert 0.004 < alarms.mean() < 0.018


def test_known_parameter_limits_would_not_do():
    """The simulated limit of the cumulative sum lies well above the 5 that textbook run lengths suggest."""
    noise = Repeatability(0.02, 0.25, 0.08, 0.003, 1.0, 80.0)
    s, w, p, spread, shapes = healthy_problem(noise, long_program())
    assert detect(p, shapes, noise, spread, s.block[w.deciding], SETTINGS).limits.cusum > 6


def test_limits_do_not_depend_on_the_order_of_calls():
    noise = Repeatability(0.02, 0.25, 0.08, 0.003, 1.0, 80.0)
    s, w, p, spread, shapes = healthy_problem(noise, short_program())
    first = detect(p, shapes, noise, spread, s.block[w.deciding], SETTINGS)
    again = detect(p, shapes, noise, spread, s.block[w.deciding], SETTINGS)
    assert first.limits == again.limits


def test_whitening():
    stop, block = np.array([3, 4, 5, 9, 10]), np.array([0, 0, 0, 1, 1])
    matrix = covariance(stop, block, np.full(5, 0.02), 0.4, 0.004, [np.array([0.0, 0.01, 0, 0, 0])])
    w = whitening(matrix)
    assert np.allclose(w @ matrix @ w.T, np.eye(5))
    assert matrix[0, 3] == pytest.approx(0.0004 * 0.4**6)
    assert matrix[0, 1] == pytest.approx(0.0004 * 0.4 + 0.004**2)


@pytest.mark.parametrize(("rho", "length"), [(0.0, 6), (0.3, 6), (0.6, 12)])
def test_pooled_scatter_of_short_blocks_is_not_biased(rho, length):
    """Autocorrelation of blocks of six stops, each about its own mean: the usual estimate would be near rho - 0.3."""
    rng = np.random.default_rng(5)
    blocks = []
    for _ in range(300):
        x = [rng.standard_normal()]
        for _ in range(length - 1):
            x.append(rho * x[-1] + np.sqrt(1 - rho**2) * rng.standard_normal())
        blocks.append(0.02 * np.array(x) + rng.standard_normal())
    found = pooled_scatter(blocks)
    assert found.rho == pytest.approx(rho, abs=0.08)
    assert found.sigma == pytest.approx(0.02, rel=0.06)


def test_pooled_scatter_needs_data():
    assert pooled_scatter([np.array([1.0, 2.0])]) is None


def test_glaze_state_grows_rests_and_clears():
    low = np.array([1.0, 1, 1, 0, 0, 0, 1])
    high = np.array([0.0, 0, 0, 0, 1, 1, 0])
    state = glaze_state(low, high, np.array([0, 1]), np.array([10.0, np.inf]), np.array([2.0, np.inf]))
    assert state[2, 0] == pytest.approx(1 - 0.9**3) and state[3, 0] == state[2, 0]
    assert state[5, 0] == pytest.approx(state[2, 0] / 4)
    assert state[:, 1].tolist() == [0, 1, 2, 2, 2, 2, 3]


def test_glaze_shape_starts_after_its_first_stop():
    stop = np.arange(1, 8)
    shapes = glazes(stop, stop, np.ones(7), np.zeros(7), np.array([3]), growth=(np.inf,), clearing=(np.inf,))
    assert np.allclose(shapes.columns[:, 0] * 4, [0, 0, 0, 1, 2, 3, 4])
    assert steps(stop, np.array([3])).columns[:, 0].tolist() == [0, 0, 1, 1, 1, 1, 1]


def test_map_and_checks_before_use_are_the_baseline():
    s = series(made(Truth(program=long_program()), 1).stops, SETTINGS)
    early = before_use(s)
    assert s.stop[early].max() == 67 and set(s.purpose[early]) == {"map", "check"}
    assert s.low[s.name == "valley use 1"].all() and not s.low[s.purpose == "check"].any()
    assert s.high[s.name == "ridge use"].all()
