"""Seeded parts of the study of our own statistics beside the libraries'; the difference of batches is in tests/batches."""

from __future__ import annotations

from tests.studies.libraries import correlations, curve_errors, slopes_held, trends_held


def test_neighbours_that_are_alike_widen_a_trend() -> None:
    held = trends_held(points=40, correlation=0.6, draws=100, seed=2)
    assert held.ours >= held.theirs + 0.05
    assert held.our_width > held.their_width


def test_levels_of_short_blocks_take_little_of_their_correlation() -> None:
    ours, theirs = correlations(truth=0.4, draws=60, seed=2)
    assert abs(ours - 0.4) <= 0.12
    assert theirs <= 0.2


def test_the_map_follows_flank_and_plateau() -> None:
    errors = curve_errors(draws=4, seed=2)
    best = errors.pop("the map")
    assert best <= 0.02
    assert 2 * best <= min(errors.values())


def test_robust_slopes_of_many_points() -> None:
    held = slopes_held(points=40, wild=0.05, draws=60, seed=2)
    assert min(held.ours, held.theirs) >= 0.88
    assert held.refused == 0
