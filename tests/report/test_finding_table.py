"""Findings of one kind at many stops share a row, which says how far they reach."""

from __future__ import annotations

import pytest

from pipeline.report import finding_table
from pipeline.results.findings import Found


def dropouts(*samples: int) -> list[Found]:
    return [
        Found(code="dropout", severity="info", stop=stop, channel="torque", message=f"{count} samples", evidence={"samples": count, "of": 500})
        for stop, count in enumerate(samples, 3)
    ]  # fmt: skip


def test_a_row_of_many_tells_the_mildest_and_the_worst() -> None:
    (row,) = finding_table.rows(dropouts(3, 4, 90, 2, 5, 7))
    assert (row.message, row.stops) == ("3 samples (the first of 6 of this kind)", "3\u20138")
    assert row.evidence_text == "samples: 2 to 90; of: 500"
    assert [one.message for one in row.members] == ["3 samples", "4 samples", "90 samples", "2 samples", "5 samples", "7 samples"]  # fmt: skip


@pytest.mark.parametrize("unlike", [{"samples": "many"}, {}, {"samples": None}])
def test_evidence_that_not_all_give_as_a_number_is_not_told_for_all(unlike: dict[str, object]) -> None:
    found = dropouts(3, 4, 90, 2, 5, 7)
    (row,) = finding_table.rows([*found[:-1], found[-1].model_copy(update={"evidence": unlike})])
    assert row.evidence_text == ""


def test_messages_are_in_the_words_of_the_page() -> None:
    found = Found(code="x", severity="info", message="mu is 4% off at 40 C", action="see mu_map and mu")
    (row,) = finding_table.rows([found])
    assert (row.message, row.action) == ("µ is 4 % off at 40 °C", "see mu_map and µ")


def test_few_stand_one_by_one() -> None:
    assert len(finding_table.rows(dropouts(3, 4))) == 2
