"""What oxidation takes of a disc over its life: by hand, and what is not known says so."""

import pytest

from pipeline.duty.burnt import LIMIT, burnt
from pipeline.results.model import Interval


def test_shares_by_hand() -> None:
    """2.0 kg new, 1.7 kg worn: 15 % of the mass goes; six tenths of it burnt, and 8 % of it unseen by thickness."""
    found = burnt(2.0, 1.7, 0.6, Interval(value=1.08, low=1.02, high=1.14))
    assert found.burnt == pytest.approx(0.09)
    assert found.inside.value == pytest.approx(0.012)
    assert (found.inside.low, found.inside.high) == (pytest.approx(0.003), pytest.approx(0.021))
    assert found.beyond is True and found.limit == LIMIT


def test_little_oxidation_passes_no_limit_but_a_wide_ratio_may() -> None:
    few = burnt(2.0, 1.7, 0.1, Interval(value=1.01, low=0.98, high=1.04))
    assert few.beyond is False
    assert few.inside.low == pytest.approx(-0.003)
    wide = burnt(2.0, 1.7, 0.1, Interval(value=1.1, low=0.8, high=1.4))
    assert wide.beyond is True  # up to 6 % inside is not excluded


def test_what_is_not_known_is_said() -> None:
    assert "no minimum thickness" in (burnt(2.0, None, 0.5, None).why or "")
    assert "no law of the disc" in (burnt(2.0, 1.7, None, None).why or "")
    unknown = burnt(2.0, 1.7, 0.2, None)
    assert unknown.burnt == pytest.approx(0.03) and unknown.inside.value is None
    assert "not known" in (unknown.inside.why or "")
