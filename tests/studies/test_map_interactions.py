"""A seeded part of the study: bounds that a map without interaction misses by far."""

from __future__ import annotations

import numpy as np
import pytest

from tests.studies import face_compounds
from tests.studies.map_interactions import COLUMNS, judged, study, table


def test_map_follows_a_compound_whose_friction_is_made_at_the_face() -> None:
    made = face_compounds.draw([31, 6])
    before, after = (judged(made, 6, "face", way, 31) for way in ("before", "after"))
    assert after.interacts and not before.interacts
    assert before.bias > 0.05 > 2 * after.bias
    assert after.cell_rms < 0.6 * before.cell_rms
    assert 0.7 < after.scatter < 1.35 < before.scatter
    assert after.mean > 0.85


@pytest.mark.heavy
def test_a_separable_compound_keeps_its_form() -> None:
    made = face_compounds.draw([31, 4], separable=True)
    before, after = (judged(made, 4, "separable", way, 31) for way in ("before", "after"))
    assert not after.interacts
    assert after.cell_rms == pytest.approx(before.cell_rms, rel=0.05)
    assert after.mean >= before.mean - 0.02
    assert after.off == pytest.approx(before.off, abs=4.0)


@pytest.mark.heavy
def test_criteria_over_six_compounds() -> None:
    """More of the study; its page has the figures that count."""
    rows = study(0, 6, 32)
    after = [r for r in rows if r.way == "after"]
    assert np.mean([r.mean for r in after]) > 0.9
    assert np.mean([r.tolerance for r in after]) > 0.9
    assert 0.85 < np.median([r.scatter for r in after]) < 1.15
    assert len(table(rows, COLUMNS)) > 10
