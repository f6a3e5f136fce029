"""A seeded part of the study of unequal batches: wrong answers near what is promised, none from one specimen."""

from __future__ import annotations

from tests.studies import unequal_batches
from tests.studies.chance import surely_under


def test_wrong_answers_are_no_more_than_chance_and_one_in_twenty():
    rows = unequal_batches.compared("two batches", unequal_batches.unequal, True, 0.04, 1)
    wrong, draws = sum(row.wrong for row in rows), sum(row.draws for row in rows)
    assert draws == 120 and not surely_under(1 - 0.065, 1 - wrong / draws, draws)
    rows = unequal_batches.compared("two batches", unequal_batches.unequal, False, 0.02, 1)
    assert sum(row.wrong for row in rows) == 0


def test_one_specimen_answers_nothing():
    for row in unequal_batches.compared("one specimen", unequal_batches.single, True, 0.02, 1):
        assert row.equivalent == row.different == 0
