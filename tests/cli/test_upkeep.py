"""What a run puts right in its results folder before it works."""

import os
import time

from pipeline.cli import upkeep

HOUR_NS = 3600 * 10**9


def test_parts_whose_writers_are_gone_are_removed_and_nothing_else(tmp_path):
    inside = tmp_path / "plain" / "tests" / "t-1" / ".extracts"
    inside.mkdir(parents=True)
    for folder in (tmp_path, inside):
        for name in ("stops.parquet", "stops.parquet.41.part", "notes.part", ".part"):
            (folder / name).write_text("x")
    upkeep.clear(tmp_path)
    left = ["", "plain/tests/t-1/.extracts/"]
    names = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()}
    assert names == {f"{folder}{name}" for folder in left for name in ("stops.parquet", "notes.part", ".part")}


def test_places_of_a_plan_that_is_not_carried_out_go_and_what_holds_something_stays(tmp_path):
    for name, text in {
        "plain/tests/t-1/extracts/rigs.json": "",
        "plain/tests/t-2/extracts/rigs.json": "{}",
        "plain/tests/t-2/extracts/charts.json": "",
        "plain/tests/t-3/extracts/rigs.json": "",
        "plain/tests/t-3/stops.csv": "",
        "plain/empty.json": "",
    }.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text)
    upkeep.without_places(tmp_path)
    left = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()}
    assert left == {"plain/tests/t-2/extracts/rigs.json", "plain/tests/t-3/stops.csv", "plain/empty.json"}
    assert not (tmp_path / "plain/tests/t-1").exists() and not (tmp_path / "plain/tests/t-3/extracts").exists()


def test_results_of_the_future_come_to_the_present_in_their_order_and_the_others_stay(tmp_path):
    now = time.time_ns()
    ahead = {"a/stops.parquet": 2, "a/b/summary.json": 5, "index.html": -3}
    for name, hours in ahead.items():
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("x")
        os.utime(path, ns=(now, now + hours * HOUR_NS))
    upkeep.clear(tmp_path)
    times = {name: (tmp_path / name).stat().st_mtime_ns for name in ahead}
    assert times["index.html"] == now - 3 * HOUR_NS
    assert times["a/b/summary.json"] <= time.time_ns()
    assert times["a/b/summary.json"] - times["a/stops.parquet"] == 3 * HOUR_NS


def test_files_beyond_a_link_are_not_touched(tmp_path):
    elsewhere, results = tmp_path / "elsewhere", tmp_path / "results"
    elsewhere.mkdir()
    results.mkdir()
    kept = elsewhere / "a.7.part"
    kept.write_text("x")
    late = time.time_ns() + HOUR_NS
    os.utime(kept, ns=(late, late))
    (results / "linked").symlink_to(elsewhere)
    (results / "a.json").symlink_to(kept)
    upkeep.clear(results)
    assert kept.stat().st_mtime_ns == late
