"""A use bounded by a test of mixed stops: what is matched is the most that can be, and the loss is neither more nor less than the test's."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import linprog

from pipeline.drift.film import NEAR_K, NEAR_POWER, Film, Use
from pipeline.duty.mixed_use import SLACK, bounds, unmatched

POWER = np.array([2.0, 3.0])
STARTS = np.array([[60.0, 80.0], [180.0, 200.0]])[:, :, None]  # of a cold cycle and of the settled one
ENERGY = np.array([[20.0, 30.0], [200.0, 300.0]])  # of all their brakings
NONE = (np.full((2, 2, 1), np.inf), np.full((2, 2, 1), np.inf))


def film_of_test(
    warmer: float = 0.0, loss: float = 0.03, scale: float = 1.0, clears: float = np.inf, back: bool = False
) -> Film:
    """The duty's own stops as a test, so much warmer; stops hotter than `clears` may clear a film."""
    power, start, energy = np.tile(POWER, 2), STARTS.ravel() + warmer, ENERGY.ravel() * scale
    order = np.argsort(start if back else -start)
    use = Use("t", 1, power[order], start[order], energy[order], start[order] > clears, loss, 0.005)
    return Film(grown=(use,), whole=(use,), check_temperature=clears)


def bound(film: Film, starts: np.ndarray = STARTS, growth: tuple[np.ndarray, np.ndarray] = NONE) -> tuple[float, float]:
    """(least, most) that a use loses, in ln mu."""
    found = bounds(film, POWER, starts, ENERGY, growth)
    return float(found.below[0][0]), float(found.above[0][0])


def most_matched(wanted: list, offered: list) -> float:
    """By linear programming over all pairs."""
    pairs = [
        (i, j)
        for i, w in enumerate(wanted)
        for j, o in enumerate(offered)
        if o[0] <= NEAR_POWER * w[0] and o[1] <= w[1] + NEAR_K
    ]
    if not pairs:
        return 0.0
    rows = np.zeros((len(wanted) + len(offered), len(pairs)))
    for n, (i, j) in enumerate(pairs):
        rows[i, n] = rows[len(wanted) + j, n] = 1
    found = linprog(-np.ones(len(pairs)), A_ub=rows, b_ub=[x[2] for x in (*wanted, *offered)])
    return float(-found.fun)


def test_as_much_is_matched_as_can_be():
    rng = np.random.default_rng(6)
    for _ in range(40):
        wanted, offered = (
            [(rng.uniform(1, 3), rng.uniform(50, 150), rng.uniform(1, 9)) for _ in range(rng.integers(1, 9))]
            for _ in range(2)
        )
        matched = sum(one[2] for one in wanted) - sum(unmatched(wanted, offered))
        assert matched == pytest.approx(most_matched(wanted, offered), abs=1e-6)


def test_what_the_test_lost_the_use_loses():
    low, high = bound(film_of_test())
    assert low == pytest.approx(0.03 - 1.96 * 0.005, rel=0.001) and high == pytest.approx(
        0.03 + 1.96 * 0.005, rel=0.025
    )


def test_a_colder_use_loses_no_less_and_a_warmer_one_no_more():
    low, high = bound(film_of_test(), STARTS - 20)
    assert low > 0.02 and high == np.inf
    low, high = bound(film_of_test(), STARTS + 20)
    assert low == 0 and high < 0.041


def test_a_braking_that_no_stop_stands_for_keeps_its_own_bound():
    growth = tuple(np.full((2, 2, 1), 1e-4) for _ in range(2))
    _, high = bound(film_of_test(), STARTS - np.array([[40.0, 40.0], [0.0, 0.0]])[:, :, None], growth)
    assert high == pytest.approx(0.03 + 1.96 * 0.005 + 1e-4 * ENERGY[0].sum(), rel=0.025)


def test_no_stop_stands_for_two_brakings():
    growth = tuple(np.full((2, 2, 1), 1e-4) for _ in range(2))
    _, high = bound(film_of_test(scale=0.5), growth=growth)
    assert high == pytest.approx(0.03 + 1.96 * 0.005 + 1e-4 * ENERGY.sum() / 2, rel=0.025)


def test_what_may_have_been_cleared_within_a_test_says_nothing():
    assert bound(film_of_test(clears=150.0, back=True)) == (0.0, np.inf)
    low, high = bound(film_of_test(clears=150.0))
    assert low == 0 and high < 0.041


def test_a_mix_that_was_run_twice_counts_by_its_mean():
    one, other = film_of_test(loss=0.02), film_of_test(loss=0.04)
    low, high = bound(replace(one, whole=one.whole + other.whole))
    assert (low + high * (1 - SLACK)) / 2 == pytest.approx(0.03, rel=0.01)
    assert high * (1 - SLACK) - low == pytest.approx(2 * 1.96 * 0.005 / np.sqrt(2), rel=0.01)


def test_runs_of_one_program_stand_at_the_mean_of_their_places():
    """Each stop begins some kelvin off its place, one way in one run and the other in the next."""
    one, other = film_of_test(warmer=7.0), film_of_test(warmer=-7.0)
    assert bound(one) == (pytest.approx(0.03 - 1.96 * 0.005, rel=0.001), np.inf)
    low, high = bound(replace(one, whole=one.whole + other.whole, grown=one.grown + other.grown))
    assert low > 0.02 and high < 0.041


def test_runs_in_different_orders_are_not_laid_over_one_another():
    one, other = film_of_test(loss=0.02), film_of_test(loss=0.04, back=True)
    low, high = bound(replace(one, whole=one.whole + other.whole))
    assert low > 0.02 and high < 0.041


def test_a_stop_as_hot_as_the_checks_but_for_chance_clears_nothing():
    """The warmest stops begin 3 K above what is known to leave a film, and run last."""
    low, high = bound(film_of_test(clears=197.0, back=True))
    assert low > 0.02 and high < 0.041
    assert bound(film_of_test(clears=190.0, back=True)) == (0.0, np.inf)
