"""The mixed model, the two one-sided tests and Holm: properties that hold for any numbers."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pipeline.batches import equivalence, mixed, power
from pipeline.batches.equivalence import Estimate

quick = settings(deadline=None, max_examples=40)
levels = st.lists(st.floats(0.1, 0.8), min_size=2, max_size=6)


@quick
@given(levels, levels)
def test_two_batches_are_the_two_sample_t_test(a, b):
    fitted = mixed.fit([*a, *b], ["a"] * len(a) + ["b"] * len(b))
    value, se = mixed.contrast(fitted, "a", "b")
    assert value == pytest.approx(np.mean(a) - np.mean(b), abs=1e-12)
    pooled = (np.var(a) * len(a) + np.var(b) * len(b)) / (len(a) + len(b) - 2)
    assert se == pytest.approx(math.sqrt(pooled * (1 / len(a) + 1 / len(b))), rel=1e-6, abs=1e-9)


@quick
@given(st.integers(0, 10_000))
def test_equal_variances_of_the_values_change_nothing(seed):
    rng = np.random.default_rng(seed)
    y, batch = rng.normal(0.4, 0.02, 9), list("aaabbbccc")
    plain = mixed.fit(y, batch)
    for v in (0.1, 0.9):
        known = mixed.fit(y, batch, np.full(9, v * plain.residual_sd**2))
        assert known.effects == pytest.approx(plain.effects)
        assert known.covariance == pytest.approx(plain.covariance)


@quick
@given(st.integers(0, 10_000), st.floats(1e-6, 1e-2))
def test_scatter_is_never_below_the_values_own_variance(seed, v):
    """Also of specimens that agree to the last digit."""
    rng = np.random.default_rng(seed)
    batch = list("aabbb")
    for y in (rng.normal(0.4, 1e-3, 5), np.full(5, 0.4)):
        _, se = mixed.contrast(mixed.fit(y, batch, np.full(5, v)), "a", "b")
        assert se >= np.sqrt(v * (1 / 2 + 1 / 3)) * (1 - 1e-9)


@quick
@given(st.integers(0, 10_000), st.floats(-5, 5), st.floats(0.1, 10))
def test_shift_and_scale(seed, shift, scale):
    rng = np.random.default_rng(seed)
    y, v, batch = rng.normal(0, 1, 7), rng.uniform(0.01, 0.5, 7), list("aaabbcc")
    base, moved = mixed.fit(y, batch, v), mixed.fit(shift + scale * y, batch, scale**2 * v)
    assert moved.effects == pytest.approx(shift + scale * base.effects, rel=1e-3, abs=1e-3 * scale)
    assert moved.specimen_sd == pytest.approx(scale * base.specimen_sd, rel=1e-2, abs=1e-3 * scale)


def test_restricted_likelihood_against_the_stop_level_model():
    # unbalanced: the same REML estimate as a one-way random model on the single stops with known stop scatter
    rng = np.random.default_rng(7)
    counts = [3, 12, 5, 8, 2, 20, 6, 9]
    truth = rng.normal(0.42, 0.02, 8)
    means = np.array([t + rng.normal(0, 0.03 / math.sqrt(n)) for t, n in zip(truth, counts, strict=True)])
    v = 0.03**2 / np.array(counts)
    tau2 = mixed.reml_variance(means, np.ones((8, 1)), v)

    def restricted(t2):  # the criterion written out once more, over the whole range
        w = 1 / (t2 + v)
        centre = (w * means).sum() / w.sum()
        return -np.log(w).sum() + np.log(w.sum()) + (w * (means - centre) ** 2).sum()

    grid = np.linspace(0, 0.003, 30001)
    best = grid[np.argmin([restricted(g) for g in grid])]
    assert tau2 == pytest.approx(best, abs=2e-7)


def test_coverage_of_the_interval_with_unbalanced_specimens():
    # specimens of unlike stop counts, 3 + 2 + 2 of them
    rng = np.random.default_rng(11)
    batch = list("aaabbcc")
    v = 0.02**2 / np.array([4, 12, 30, 6, 20, 3, 12])
    hits = 0
    for _ in range(500):
        y = rng.normal(0, np.sqrt(0.01**2 + v))
        fitted = mixed.fit(y, batch, v)
        low, high = equivalence.interval(Estimate(*mixed.contrast(fitted, "a", "b"), fitted.df))
        hits += low <= 0 <= high
    assert 0.925 <= hits / 500 <= 0.98


def test_one_specimen_each_gives_no_scatter():
    fitted = mixed.fit([0.40, 0.45], ["a", "b"])
    assert fitted.df == 0
    assert math.isnan(mixed.contrast(fitted, "a", "b")[1])


def test_blocks_that_hold_one_batch_each_are_refused():
    with pytest.raises(ValueError, match="cannot be separated"):
        mixed.fit([1.0, 2.0, 3.0, 4.0], ["a", "a", "b", "b"], block=["x", "x", "y", "y"])


@quick
@given(st.lists(st.floats(0, 1), min_size=1, max_size=8))
def test_holm_bounds(p):
    adjusted = equivalence.holm(p)
    assert all(a >= x for a, x in zip(adjusted, p, strict=True))
    assert all(a <= min(1, len(p) * x) + 1e-15 for a, x in zip(adjusted, p, strict=True))
    order = np.argsort(p, kind="stable")
    assert all(adjusted[i] <= adjusted[j] for i, j in itertools.pairwise(order))


def test_holm_by_hand_and_gaps():
    # Holm 1979: 0.01 x 3, 0.03 x 2 = 0.06, 0.04 x 1 raised to 0.06; an untested pair does not count
    assert equivalence.holm([0.01, None, 0.04, 0.03]) == [
        pytest.approx(0.03),
        None,
        pytest.approx(0.06),
        pytest.approx(0.06),
    ]


@quick
@given(st.floats(-0.2, 0.2), st.floats(1e-4, 0.1), st.integers(1, 30))
def test_equivalence_is_the_90_percent_interval_inside_the_margin(value, se, df):
    estimate = Estimate(value, se, df)
    low, high = equivalence.interval(estimate, 0.90)
    inside = low > -0.05 and high < 0.05
    assert (equivalence.p_equivalence(estimate, -0.05, 0.05) < 0.05) == inside


def test_known_uncertainty_in_quadrature():
    widened = equivalence.with_known(Estimate(0.01, 0.003, 3), 0.004)
    assert widened.se == pytest.approx(0.005)
    assert widened.df == pytest.approx(3 * (0.005 / 0.003) ** 4)
    assert equivalence.with_known(Estimate(0.01, 0.003, 3), 0.0).df == 3


def test_power_by_simulation():
    rng = np.random.default_rng(3)
    n, sigma, margin, difference, df = 4, 0.02, 0.03, 0.008, 6
    se = sigma * math.sqrt(2 / n)
    d = rng.normal(difference, se, 200_000)
    s = se * np.sqrt(rng.chisquare(df, d.size) / df)
    reach = stats.t.ppf(0.95, df) * s
    simulated = np.mean((d - reach > -margin) & (d + reach < margin))
    assert power.power_equivalent(difference, se, df, -margin, margin) == pytest.approx(simulated, abs=0.004)
    far = rng.normal(0.05, se, d.size)
    beyond = np.mean((abs(far) > margin) & (abs(far) > stats.t.ppf(0.975, df) * s))
    assert power.power_different(0.05, se, df, -margin, margin) == pytest.approx(beyond, abs=0.004)


@quick
@given(st.floats(0.001, 0.05), st.floats(0.0, 0.028))
def test_specimens_needed_is_the_smallest_number(sigma, difference):
    n = power.specimens_to_decide(difference, sigma, -0.03, 0.03)
    if n is None:
        assert power.power_equivalent(difference, sigma * math.sqrt(2 / 60), 118, -0.03, 0.03) < 0.8
        return
    reached = [
        power.power_equivalent(difference, sigma * math.sqrt(2 / k), 2 * (k - 1), -0.03, 0.03)
        for k in (n, max(n - 1, 2))
    ]
    assert reached[0] >= 0.8
    assert n == 2 or reached[1] < 0.8
