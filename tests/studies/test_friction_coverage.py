"""A seeded fortieth of the coverage study, a twentieth under the heavy mark: loose bounds that a broken band does not meet."""

from __future__ import annotations

import numpy as np
import pytest

from tests.studies.friction_coverage import pooled_against_mixed, study


@pytest.mark.parametrize("share", [0.025, pytest.param(0.05, marks=pytest.mark.heavy)])
def test_bands_hold_what_they_say(share: float) -> None:
    tallies = study(share, seed=1)
    mean = [share for tally in tallies.values() for share in tally.mean]
    tolerance = [share for tally in tallies.values() for share in tally.tolerance]
    ends = [held for tally in tallies.values() for held in tally.ends]
    assert len(mean) == 200 * share
    assert np.mean(mean) > 0.85
    assert np.mean(tolerance) > 0.80
    assert len(ends) >= 100 * share and np.mean(ends) > 0.7
    assert sum(tally.asked_outside for tally in tallies.values()) > 20_000 * share
    assert sum(tally.outside for tally in tallies.values()) == 0
    # a band that holds by being useless would pass all of the above
    assert np.median(tallies["one specimen"].width) < 0.035


def test_pooling_specimens_that_differ_misses_the_truth() -> None:
    (widest,) = pooled_against_mixed(0.05, seed=1, spreads=(0.04,))
    assert widest["mixed_width"] > 2 * widest["pooled_width"]
    assert widest["mixed_held"] > widest["pooled_held"]
