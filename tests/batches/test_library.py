"""Where the comparison's own formulas and statsmodels must agree, they do; where they must not, it is shown which one holds."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.batches import equivalence, mixed, power
from pipeline.batches.equivalence import Estimate
from tests.studies.libraries import differences_held


def two_samples(seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    return rng.normal(0.45, 0.01, 4), rng.normal(0.46, 0.01, 3)


def estimate_of(a: np.ndarray, b: np.ndarray, *, paired: bool = False) -> Estimate:
    block = [*range(len(a)), *range(len(b))] if paired else None
    fitted = mixed.fit(np.r_[a, b], ["a"] * len(a) + ["b"] * len(b), block=block)
    return Estimate(*mixed.contrast(fitted, "a", "b"), fitted.df)


@pytest.mark.parametrize("seed", range(5))
def test_two_one_sided_tests(seed: int) -> None:
    from statsmodels.stats.weightstats import ttost_ind, ttost_paired

    a, b = two_samples(seed)
    ours = equivalence.p_equivalence(estimate_of(a, b), -0.02, 0.02)
    assert ours == pytest.approx(ttost_ind(a, b, -0.02, 0.02)[0], rel=1e-9)
    ours = equivalence.p_equivalence(estimate_of(a[:3], b, paired=True), -0.02, 0.02)
    assert ours == pytest.approx(ttost_paired(a[:3], b, -0.02, 0.02)[0], rel=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_one_sample_against_a_reference(seed: int) -> None:
    from statsmodels.stats.weightstats import DescrStatsW

    a, _ = two_samples(seed)
    fitted = mixed.fit(a, ["a"] * 4)
    ours = Estimate(float(fitted.effects[0]), float(np.sqrt(fitted.covariance[0, 0])), fitted.df)
    theirs = DescrStatsW(a)
    assert equivalence.p_equivalence(ours, 0.44, 0.47) == pytest.approx(theirs.ttost_mean(0.44, 0.47)[0], rel=1e-9)
    assert equivalence.interval(ours) == pytest.approx(theirs.tconfint_mean(0.05), rel=1e-9)


def test_power_of_the_t_test() -> None:
    """Without a margin the power of `different` is that of the two-sample t test, from the non-central t."""
    from statsmodels.stats.power import TTestIndPower

    for n in (2, 3, 6, 20):
        ours = power.power_different(0.012, 0.01 * np.sqrt(2 / n), 2 * n - 2, 0.0, 0.0)
        assert ours == pytest.approx(TTestIndPower().power(1.2, n, 0.05), abs=2e-5)


def test_specimens_of_equal_standing_are_a_random_intercept() -> None:
    """Balanced stops: effects, standard error and variance between specimens are those of MixedLM.

    In per cent: it takes a variance below 0.01, of whatever unit, for one at its bound.
    """
    from statsmodels.regression.mixed_linear_model import MixedLM

    rng = np.random.default_rng(4)
    specimen = np.repeat(np.arange(6), 10)
    batch = (specimen >= 3).astype(float)
    y = 45 + batch + rng.normal(0, 2, 6)[specimen] + rng.normal(0, 2, 60)
    theirs = MixedLM(y, np.column_stack([1 - batch, batch]), groups=specimen).fit()
    means = y.reshape(6, 10).mean(axis=1)
    ours = mixed.fit(means, list("aaabbb"), np.full(6, theirs.scale / 10))
    assert ours.effects == pytest.approx(theirs.fe_params, rel=1e-7)
    assert np.diag(ours.covariance) == pytest.approx(theirs.bse_fe**2, rel=1e-4)
    assert ours.specimen_sd**2 == pytest.approx(theirs.cov_re[0, 0], rel=1e-3)


def test_two_specimens_a_batch_need_more_than_the_normal_distribution() -> None:
    """A seeded part of the study: of 95 % intervals of a difference, ours hold it and those of MixedLM do not."""
    held = differences_held(specimens=2, batches=2, draws=60, seed=1)
    assert held.ours >= 0.90
    assert held.theirs <= 0.90


def test_holm_is_statsmodels():
    from statsmodels.stats.multitest import multipletests

    rng = np.random.default_rng(9)
    for size in (1, 2, 5, 9):
        p = rng.uniform(0, 0.2, size).round(3).tolist()
        assert equivalence.holm(p) == pytest.approx(multipletests(p, method="holm")[1].tolist(), rel=1e-14)
