"""A few fits of the study of wear rates; more of them under the heavy mark, and a tenth of it with the study's own bounds."""

import pytest

from tests.studies.chance import surely_under
from tests.studies.wear_rates import LEAST, coverage, page, ratio, study, too_long


@pytest.mark.parametrize(
    ("share", "seed"), [(0.002, 8), pytest.param(0.006, 5, marks=pytest.mark.heavy)], ids=["few", "more"]
)
def test_rates_from_coarse_readings_are_right_and_lives_not_too_long(share, seed):
    found = study(share, seed)
    many = [f for f in found if f.case.intervals >= LEAST]
    for which in ("readings", "law"):
        assert 0.85 < ratio(getattr(f, which) for f in many) < 1.15
        assert coverage(getattr(f, which) for f in found) >= 0.85
    assert not any(f.ungrounded for f in found)
    assert too_long(f.life for f in found) <= 0.06
    text = page(found)
    assert "python -m tests.studies.wear_rates --write" in text and f"{len(found)} fits" in text


@pytest.mark.heavy
def test_a_tenth_of_the_study_keeps_its_bounds():
    found = study(0.1, 6)
    for level in ("test", "compound"):
        own = [f for f in found if f.level == level]
        many = [f for f in own if f.case.intervals >= LEAST]
        for which in ("readings", "law"):
            assert 0.97 <= ratio(getattr(f, which) for f in many) <= 1.03
            given = [getattr(f, which) for f in own if getattr(f, which)]
            assert not surely_under(0.93, coverage(given), len(given))
    assert not any(f.ungrounded for f in found)
    assert too_long(f.life for f in found) <= 0.04
