"""A small part of the study of quiet faults: `python -m tests.studies.silent_faults` is the whole of it."""

import json

import pytest

from tests.studies.silent_faults import BEFORE, cases, outcomes


def test_the_study_holds_over_a_hundred_cases_each_once_with_its_state_before():
    every = [(fault.name, str(size)) for fault, size in cases()]
    assert len(every) == len(set(every)) >= 129
    assert {(r["fault"], r["size"]) for r in json.loads(BEFORE.read_text())} == set(every)


def test_a_pressure_that_leaves_its_level_when_hot_is_named():
    (row,) = outcomes(share=0.34, only="pressure gain above 450 C")
    assert row.outcome == "named" and "level_with_temperature of pressure (test)" in row.told
    assert row.mu > 0.015


@pytest.mark.heavy
def test_a_tenth_of_the_quiet_faults_has_the_outcomes_of_the_page():
    page = (BEFORE.parents[2] / "docs" / "silent_faults_study.md").read_text()
    rows = list(outcomes(share=0.1))
    assert len(rows) > 12
    for row in rows:
        start = f"| {row.fault} | {row.size} | "
        line = next(line for line in page.splitlines() if line.startswith(start))
        outcome = line.removeprefix(start).split(" | ")[5]  # after mu, energy, window, wear and the outcome before
        assert (row.fault, row.size, row.outcome) == (row.fault, row.size, outcome)
