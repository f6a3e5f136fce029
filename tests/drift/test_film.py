"""Bounds of a film's growth where little is known of the uses that made it."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.drift.film import Film, Use


@pytest.mark.filterwarnings("error")
def test_a_use_whose_energies_nobody_recorded_bounds_no_growth():
    """A summary of stops may have no energies: the use glazed, and how much of it that took is not known."""
    stops = np.full(5, 0.9), np.full(5, 90.0), np.full(5, np.nan), np.zeros(5, bool)
    use = Use("t", 1, *stops, loss=0.03, u=0.01, first=True)
    film = Film(groups=((use,),), grown=(use,))
    assert film.largest_seen() is None
    assert np.isinf(film.at_most(0.5, np.array([60.0]))).all()
    assert (np.array(film.at_least(use, 0.5, np.array([60.0]))) == 0).all()


def test_of_two_uses_that_glazed_the_faster_one_is_the_largest_growth():
    power, temperature, clearing = np.full(5, 0.9), np.full(5, 90.0), np.zeros(5, bool)
    slow, fast, unknown = (
        Use("t", 1, power, temperature, np.full(5, energy), clearing, loss=0.03, u=0.0, first=True)
        for energy in (20.0, 6.0, np.nan)
    )
    assert Film(groups=((slow,), (fast, unknown))).largest_seen() == pytest.approx(0.001)
