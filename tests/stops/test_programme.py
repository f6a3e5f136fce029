"""A schedule that the rig did not follow, through ingest and reduction: every stop carries the block it was run for."""

import dataclasses

import polars as pl
import pytest

from rig_samples.simulator import MARRAM_4, Block, Identity, Rig, Style, simulate, write_test
from tests.hostile.chain import METHOD, to_stops

CHECK = Block("check 1", "check", 3)
PLANNED = [
    Block("bed-in", "bedding", 4, speed=(1600.0, 650.0), pressure=30.0, initial=230.0),
    CHECK,
    Block("map 120", "map", 2, initial=120.0),
    Block("map 200", "map", 2, initial=200.0),
    Block("map 420", "map", 3, initial=420.0, pressure=40.0),
    Block("to rest", "map", 2, kind="stop", speed=(900.0, 0.0), initial=250.0),
    Block("held", "drag", 2, kind="drag", speed=(800.0, 800.0), pressure=12.0, initial=200.0, duration=6.0),
    dataclasses.replace(CHECK, name="check 2"),
]
# As run: the first check is aborted and repeated, a foreign stop stands between two map blocks.
RUN = [
    PLANNED[0],
    CHECK.with_stops(4),
    *PLANNED[2:4],
    Block("foreign", "map", 1, speed=(1900.0, 1200.0), pressure=55.0, initial=330.0),
    *PLANNED[4:],
]
ABORTED, LOST = 5, 15


@pytest.fixture(scope="module")
def reduced(tmp_path_factory):
    """(stops, summary's missing, truth) of the programme with one recording removed."""
    room = tmp_path_factory.mktemp("programme")
    test = simulate(RUN, MARRAM_4, seed=12, rig=Rig(sample_rate=50.0), aborted={ABORTED: 0.9})
    folder = room / "archive" / "t"
    identity = Identity("Marram 4", "M4-2406", "A", "2026-03-02")
    write_test(folder, dataclasses.replace(test, program=PLANNED), identity, Style(compress=False))
    (folder / "recordings" / f"stop_{LOST:03d}.csv").unlink()
    to_stops(folder, room / "results")
    stops = pl.read_parquet(room / "results" / METHOD / "tests" / "t" / "stops.parquet")
    return stops, test.truth


def test_every_stop_carries_its_block(reduced):
    stops, truth = reduced
    run = stops.with_columns(number=pl.col("file").str.extract(r"(\d+)").cast(pl.Int64))
    both = run.join(truth.select(pl.col("stop").alias("number"), pl.col("block").alias("true")), on="number")
    assert both.height == truth.height - 1
    others = both.filter(pl.col("true") != "foreign")
    assert others.filter(pl.col("block").ne_missing(pl.col("true"))).height == 0
    (foreign,) = both.filter(pl.col("true") == "foreign").to_dicts()
    assert foreign["block"] is None
    assert "stop_extra" in foreign["findings"]


def test_the_aborted_stop_is_rejected_and_keeps_its_energy(reduced):
    (aborted,) = reduced[0].filter(pl.col("file").str.contains(f"stop_{ABORTED:03d}")).to_dicts()
    assert (aborted["status"], aborted["mu"], aborted["block"]) == ("rejected", None, "check 1")
    assert "stop_aborted" in aborted["findings"]
    assert aborted["energy_kj"] > 20
    assert aborted["schedule_row"] is None


def test_the_lost_recording_is_counted_but_has_no_row(reduced):
    stops, truth = reduced
    assert stops["stop"].to_list() == list(range(1, truth.height))
    expected = [n for n in truth["stop"].to_list() if n != LOST]
    assert stops["run_number"].to_list() == expected
