"""A use bounded by a test of mixed stops: what is matched is the most that can be, and the loss is neither more nor less than the test's."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import linprog

from pipeline.drift.film import NEAR_K, NEAR_POWER, Film, Use
from pipeline.duty.mixed_use import SLACK, bounds, pooled, unmatched
from pipeline.duty.places import Places

POWER = np.array([2.0, 3.0])
STARTS = np.array([[60.0, 80.0], [180.0, 200.0]])[:, :, None]  # of a cold cycle and of the settled one
EACH, CYCLES = np.array([20.0, 30.0]), 11
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


def bound(
    film: Film,
    starts: np.ndarray = STARTS,
    growth: tuple[np.ndarray, np.ndarray] = NONE,
    within: float = 0.0,
    cycles: int = CYCLES,
) -> tuple[float, float]:
    """(least, most) that a use loses, in ln mu; its temperatures are known within so many K."""
    found = bounds(film, Places(POWER, EACH, starts, starts - within, cycles), growth)
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


def test_a_stop_that_no_braking_takes_is_not_counted_beside_the_braking_that_it_nearly_is():
    """The first cycle begins colder than the test's stops, which glaze no slower than harder and warmer use did: that much of it the test has
    told already. Use that was gentler says nothing, and where the test has stops over that nothing is missing for, its loss is the use's."""
    missing = tuple(np.full((2, 2, 1), 1e-4) for _ in range(2))
    colder = STARTS - np.array([[40.0, 40.0], [0.0, 0.0]])[:, :, None]
    n = np.ones(100)
    for power, rate in ((4.0, 4e-5), (1.5, 0.0)):
        glazed = Use("harder", 1, power * n, 210.0 * n, 10.0 * n, n > 1, 0.04 + 1.96 * 0.001, 0.001, glazed=True)
        film = replace(film_of_test(), grown=(glazed,))
        _, high = bound(film, colder, missing)
        idle = ENERGY[0].sum() + SLACK * ENERGY[1].sum()
        added = 1e-4 * (1 - SLACK) * ENERGY[0].sum() - rate * idle
        assert high == pytest.approx((0.03 + 1.96 * 0.005 + added) / (1 - SLACK), rel=1e-4)
        more = replace(film, whole=(film_of_test(scale=1.5).whole[0],))
        assert bound(more, STARTS, missing)[1] == pytest.approx((0.03 + 1.96 * 0.005) / (1 - SLACK), rel=1e-4)


def test_no_stop_stands_for_two_brakings():
    growth = tuple(np.full((2, 2, 1), 1e-4) for _ in range(2))
    _, high = bound(film_of_test(scale=0.5), growth=growth)
    assert high == pytest.approx(0.03 + 1.96 * 0.005 + 1e-4 * ENERGY.sum() / 2, rel=0.025)


def test_what_may_have_been_cleared_within_a_test_bounds_from_the_side_of_its_order():
    """Stops that may clear a film: first, and the film at the end is the most that these stops bring; last, and it is the least."""
    low, high = bound(film_of_test(clears=150.0))
    assert low == 0 and high < 0.041
    low, high = bound(film_of_test(clears=150.0, back=True))
    assert low > 0.02 and high == np.inf
    between = film_of_test(clears=190.0).whole[0]
    order = np.array([1, 0, 2, 3])
    between = replace(between, temperature=between.temperature[order], may_clear=between.may_clear[order])
    assert bound(Film(whole=(between,), check_temperature=190.0)) == (0.0, np.inf)


def test_a_use_that_may_clear_more_than_the_test_is_not_bounded_from_below():
    """Twice the cycles: what they may take off, the test's stops as hot did not try."""
    assert bound(film_of_test(), cycles=21)[0] > 0.02
    assert bound(film_of_test(clears=150.0, back=True), cycles=21)[0] == 0


def test_a_use_whose_temperature_is_not_known_is_bounded_from_above_by_a_test_as_cold_as_it_may_be():
    assert bound(film_of_test(), within=20.0) == (pytest.approx(0.03 - 1.96 * 0.005, rel=0.001), np.inf)
    assert bound(film_of_test(warmer=-20.0), within=20.0) == (0.0, pytest.approx(0.03 + 1.96 * 0.005, rel=0.025))


def test_what_the_checks_took_off_is_added_from_above_alone():
    film = film_of_test()
    shown = replace(film, whole=(replace(film.whole[0], left=(0.8, 0.0)),))
    assert bound(shown) == (bound(film)[0], pytest.approx(bound(film)[1] / 0.8))


def test_runs_that_scatter_beyond_chance_widen_their_mean():
    """Four runs told to 1 each that lie at 0, 0, 6, 6: chi2 is 36 on 3 degrees, u of the mean 0.5 x sqrt(12) x t(3) / z."""
    u = np.ones(4)
    assert pooled(np.array([0.0, 0.0, 6.0, 6.0]), u, 1.96) == (
        pytest.approx(3.0),
        pytest.approx(0.5 * np.sqrt(12) * 3.1824 / 1.96, rel=1e-3),
    )
    assert pooled(np.array([0.0, 0.0, 1.5, 1.5]), u, 1.96) == (pytest.approx(0.75), pytest.approx(0.5))


def test_a_mix_that_was_run_twice_counts_by_its_mean():
    one, other = film_of_test(loss=0.027), film_of_test(loss=0.033)
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
    one, other = film_of_test(loss=0.027), film_of_test(loss=0.033, back=True)
    low, high = bound(replace(one, whole=one.whole + other.whole))
    assert low > 0.02 and high < 0.041


def test_a_stop_as_hot_as_the_checks_but_for_chance_clears_nothing():
    """The warmest stops begin 3 K above what is known to leave a film, and run last."""
    low, high = bound(film_of_test(clears=197.0, back=True))
    assert low > 0.02 and high < 0.041
    assert bound(film_of_test(clears=190.0, back=True))[1] == np.inf
