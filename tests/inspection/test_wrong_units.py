"""A file that tells a wrong unit of temperature, walked: found by a schedule, and without one told as not known."""

from __future__ import annotations

import json
from dataclasses import replace

import polars as pl
import pytest

from pipeline.archive.card import load_card
from pipeline.cli import run
from tests.hostile.chain import METHOD, to_stops
from tests.inspection.archives import ARCHIVES, write_archive
from tests.inspection.messy import TEMPERATURE, units
from tests.inspection.walking import answers_of, fill

NAMED = {"°C": "degC", "°F": "degF", "K": "K"}
PAIRS = [(a, b) for a in TEMPERATURE for b in TEMPERATURE if a != b]
FIRST = (("°C", "°F"), ("°F", "°C"))


def walked(true, told, room, schedule):
    """(stops, findings) of the first archive with values in one unit under the name of another."""
    first = ARCHIVES[0]
    mess = replace(first.mess, units=units(speed="1/min", temperature=true), wrong={"disc_temperature": told})
    one = replace(first, mess=mess, lost=(), schedule=schedule)
    place, folder = write_archive(one, room / "source"), room / "archive" / "t1"
    table = [f"--schedule={path}" for path in room.glob("*.csv")]
    assert run(["new-test", str(folder), "--from", str(place), *table]) == 0
    fill(folder / "test.yaml", answers_of(one))
    assert load_card(folder).levels == ("schedule" if schedule else "recordings")
    to_stops(folder, room / "results")
    into = room / "results" / METHOD / "tests" / "t1"
    findings = json.loads((into / "stops_findings.json").read_text(encoding="utf-8"))["findings"]
    return pl.read_parquet(into / "stops.parquet"), {f["code"]: f for f in findings[::-1]}


@pytest.mark.parametrize(
    ("true", "told"), [pytest.param(*pair, marks=() if pair in FIRST else pytest.mark.heavy) for pair in PAIRS]
)
def test_with_a_schedule_the_unit_is_named_and_no_stop_is_used(true, told, tmp_path):
    stops, found = walked(true, told, tmp_path, ".csv")
    assert set(stops["status"]) == {"suspect"}
    slip = next(c for c in found["unit_slip"]["evidence"]["candidates"])
    assert slip["cause"] == f"disc temperature in {NAMED[true]} labelled {told}"


@pytest.mark.parametrize(
    ("true", "told"), [pytest.param(*pair, marks=() if pair in FIRST[:1] else pytest.mark.heavy) for pair in PAIRS]
)
def test_levels_read_off_the_recordings_vouch_for_no_unit(true, told, tmp_path):
    """What the recordings say of themselves cannot contradict them: then it is said which units are not told apart."""
    _, found = walked(true, told, tmp_path, "")
    open_ = found["levels_from_recordings"]["evidence"]["not_verifiable"]
    assert NAMED[true] in open_["disc_temperature"]
