"""A seeded part of the study of wrong units: `python -m tests.studies.unit_slips` is the whole of it."""

import pytest

from tests.studies.unit_slips import CHANNELS, cases, false_findings, near, studied


def test_the_study_has_every_channel_both_ways_and_whole_or_in_part():
    every = list(cases())
    assert {case.channel for case in every} == set(CHANNELS)
    there = {(c.channel, c.actual, c.labelled, c.part) for c in every}
    assert all((c.channel, c.labelled, c.actual, c.part) in there for c in every)


def test_a_fortieth_of_the_slips_is_found_or_said_to_be_not_verifiable():
    rows = studied(1 / 40, seed=3)
    assert len(rows) >= 5
    assert [row for row in rows if row.outcome == "silent" or (row.outcome == "told" and near(row.case))] == []


def test_a_rig_that_misses_its_levels_a_little_is_not_in_doubt():
    assert false_findings(1)[0] == 0


@pytest.mark.heavy
def test_no_slip_of_a_quarter_is_silent():
    rows = studied(0.25, seed=4)
    assert [row for row in rows if row.outcome == "silent"] == []
    assert false_findings(4)[0] == 0
