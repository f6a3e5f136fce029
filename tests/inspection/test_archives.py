"""Twelve messy archives, each walked from nothing: new-test, one edited file, reduced; held against what the simulator knows."""

from __future__ import annotations

import pytest

from pipeline.cli import run
from tests.hostile.chain import METHOD, to_stops
from tests.inspection.archives import ARCHIVES, simulated, write_archive
from tests.inspection.walking import completed
from tests.studies.walks import errors

FIRST = ("bench of the nineties", "load cell", "spreadsheet's export")
MU, ENERGY = 0.005, 0.012  # of a test's mean, of a stop's work; a gentle stop's drag is a share of its torque


@pytest.mark.parametrize(
    "one", [pytest.param(a, id=a.name, marks=() if a.name in FIRST else pytest.mark.heavy) for a in ARCHIVES]
)
def test_an_archive_is_walked_to_the_truth(one, tmp_path):
    """Every stop that was recorded, of use; mean µ within 0.5 %; every guess that is wrong was doubted."""
    import polars as pl

    place = write_archive(one, tmp_path / "source")
    folder = tmp_path / "archive" / "t1"
    schedule = [f"--schedule={path}" for path in tmp_path.glob(f"*{one.schedule}") if one.schedule and path.is_file()]
    assert run(["inspect", str(place)]) == 0
    assert run(["new-test", str(folder), "--from", str(place), *schedule]) == 0
    edited = completed(one, folder / "test.yaml")
    assert edited.wrong == edited.wrong_doubted == 0 and edited.lines <= 14
    to_stops(folder, tmp_path / "results")
    stops = pl.read_parquet(tmp_path / "results" / METHOD / "tests" / "t1" / "stops.parquet")
    assert stops.height == simulated(one.name).truth.height - len(one.lost)
    assert set(stops["status"]) == {"ok"}, stops["findings"].to_list()
    mean, most, energy = errors(one, stops)
    assert abs(mean) < MU and most < 3 * MU and energy < ENERGY


def test_no_two_archives_share_their_tricks():
    told = [
        (
            a.mess.form,
            a.mess.delimiter,
            a.mess.decimal,
            a.mess.encoding,
            a.mess.clock,
            a.mess.shown,
            a.mess.packed,
            a.mess.series,
            a.parts,
        )
        for a in ARCHIVES
    ]
    assert len(ARCHIVES) == 12 and len(set(told)) == 12
    assert {a.mess.form for a in ARCHIVES} == {"delimited", "parquet", "mdf", "tdms", "hdf5", "xlsx"}
