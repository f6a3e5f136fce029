"""Decision rules: probability of conformity, answers, and how often they are wrong."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from pipeline.conformity.decision import decided, inside, probability, room
from pipeline.results.model import Interval


def figure(value, half):
    return Interval(value=value, low=value - half, high=value + half)


def test_probability_is_the_normals_share_inside():
    assert probability(figure(1.0, 1.96), high=2.0) == pytest.approx(stats.norm.cdf(1.0), abs=1e-4)
    expected = stats.norm.cdf(0.5) - stats.norm.cdf(-1.5)
    assert probability(figure(1.0, 1.96), -0.5, 1.5) == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize("confidence", [0.68, 0.8, 0.99])
def test_an_interval_of_another_confidence_is_no_surer_figure(confidence):
    """The same figure with the same uncertainty conforms as surely, however wide its interval is drawn."""
    half = 0.5 * stats.norm.ppf((1 + confidence) / 2)
    assert probability(figure(1.0, half), high=1.7, confidence=confidence) == pytest.approx(stats.norm.cdf(1.4))
    assert room(figure(1.0, half), high=1.7, confidence=confidence) == pytest.approx(1.4)


def test_an_unequal_interval_counts_on_the_side_of_the_limit():
    wide_above = Interval(value=1.0, low=0.9, high=3.0)
    assert probability(wide_above, high=3.0) == pytest.approx(0.975, abs=1e-4)
    assert probability(wide_above, low=0.9) == pytest.approx(0.975, abs=1e-4)


def test_room_is_counted_on_the_side_of_the_nearer_limit():
    assert room(figure(1.0, 1.96), 0.0, 1.5) == pytest.approx(0.5, abs=1e-4)
    assert room(figure(1.0, 1.96), 1.5, 4.0) == pytest.approx(-0.5, abs=1e-4)
    wide_above = Interval(value=1.0, low=0.9, high=2.96)
    assert room(wide_above, high=2.0) == pytest.approx(1.0, abs=1e-4)
    assert room(wide_above, low=2.0) == pytest.approx(-1.0, abs=1e-4)
    assert room(figure(1.0, 0.0), 0.5, 2.0) == np.inf
    assert room(Interval(value=1.0), low=0.5) is None and room(Interval(), low=0.5) is None


@pytest.mark.parametrize(
    ("value", "rule", "answer"),
    [
        (0.80, "guard_band", "met"), (0.95, "guard_band", "undecided"), (1.05, "guard_band", "undecided"), (1.20, "guard_band", "not met"),
        (0.80, "shared_risk", "met"), (0.95, "shared_risk", "met"), (1.05, "shared_risk", "not met"), (1.20, "shared_risk", "not met"),
    ],
)  # fmt: skip
def test_the_two_rules_near_a_limit(value, rule, answer):
    found = figure(value, 0.15)
    assert decided(rule, inside(found, None, 1.0), probability(found, high=1.0)) == answer


def test_without_an_interval_only_shared_risk_answers():
    bare = Interval(value=0.5, why="one specimen")
    assert probability(bare, high=1.0) is None
    assert decided("guard_band", inside(bare, None, 1.0), None) == "undecided"
    assert decided("shared_risk", inside(bare, None, 1.0), None) == "met"
    assert decided("shared_risk", inside(Interval(), None, 1.0), None) == "undecided"


@pytest.mark.parametrize("df", [1, 3, 12])
def test_a_guarded_answer_is_wrong_in_at_most_one_of_twenty(df):
    """A quantity at its limit, its mean and interval drawn by Student's t: `met` is wrong there."""
    rng = np.random.default_rng(df)
    n = df + 1
    wrong = 0
    for _ in range(4000):
        x = rng.normal(1.0, 0.1, n)
        half = float(stats.t.ppf(0.975, df)) * float(x.std(ddof=1)) / n**0.5
        wrong += decided("guard_band", None, probability(figure(float(x.mean()), half), high=1.0)) == "met"
    assert wrong / 4000 < 0.06


def test_no_width_is_certainty():
    assert probability(figure(0.9, 0.0), high=1.0) == 1.0
    assert probability(figure(1.1, 0.0), high=1.0) == 0.0
