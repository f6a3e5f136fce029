"""A small part of the study of quiet faults: `python -m tests.studies.silent_faults` is the whole of it."""

import json

import polars as pl
import pytest

from pipeline.recordings import stage as channels
from pipeline.results import read_json
from pipeline.stops import stage as stops
from tests.studies import silent_faults
from tests.studies.silent_faults import BEFORE, cases, outcomes


def test_the_study_holds_over_a_hundred_cases_each_once_with_its_state_before():
    every = [(fault.name, str(size)) for fault, size in cases()]
    assert len(every) == len(set(every)) >= 129
    assert {(r["fault"], r["size"]) for r in json.loads(BEFORE.read_text())} == set(every)


def of_stops(folder, same=None):
    """The test in `folder` through channels and stops alone: what friction and wear tell is the heavy part's."""
    into = silent_faults.results_of(folder)
    into.mkdir(parents=True)
    parquet, record = into / "channels.parquet", into / "channels.json"
    channels.run(folder, parquet, record)
    stops.run(folder=folder, channels=parquet, record=record, settings=silent_faults.SETTINGS, into=into)
    found = [*read_json(record)["findings"], *read_json(into / "stops_findings.json")["findings"]]
    return silent_faults.Result(pl.read_parquet(into / "stops.parquet"), None, {}, found)


def test_a_pressure_that_leaves_its_level_when_hot_is_named(monkeypatch):
    monkeypatch.setattr(silent_faults, "reduced", of_stops)
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
