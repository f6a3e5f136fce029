"""Recordings that are missing are counted as run where the files' names tell, however the names are written."""

import polars as pl
import pytest

from pipeline.stops.schedule import file_numbers
from tests.stops.makers import Application, Rig, reduce, write_test

GONE = (3, 4, 5, 10, 17)
LEFT = [n for n in range(1, 22) if n not in GONE]
NAMES = {
    "plain": "stop_{n:03d}.csv",
    "spaced": "Stop {n}.csv",
    "of so many": "Stop {n} of 21.csv",
    "block behind": "Stop {n} check {block}.csv",
    "conditions behind": "{n:02d}_{warm} C_{bar} bar.csv",
    "date before": "2026-03-02 stop {n}.csv.gz",
    "dotted date before": "26.03.2026 stop {n:02d}.csv",
    "time behind": "stop {n:03d} 14{minute:02d}07.csv",
}


def named(pattern: str) -> list[str]:
    parts = [
        {"n": n, "block": 1 + n // 4, "warm": 300 + 20 * (n % 3), "bar": 40 - n % 2, "minute": 2 * n} for n in LEFT
    ]
    return ["recordings/" + pattern.format(**part) for part in parts]


@pytest.mark.parametrize("pattern", NAMES.values(), ids=NAMES)
def test_the_running_number_is_found_among_other_digits(pattern):
    assert file_numbers(named(pattern)) == LEFT


@pytest.mark.parametrize(
    "files",
    [
        [],
        ["a.csv"],
        ["a 1.csv"],
        ["b.csv", "c.csv"],
        ["n 300.csv", "n 200.csv", "n 250.csv"],
        ["s 1.csv", "s 51.csv", "s 101.csv"],
    ],
)
def test_names_without_a_running_number_have_none(files):
    assert file_numbers(files) == [None] * len(files)


def test_a_repeat_that_shares_its_number_leaves_none_out():
    assert file_numbers(["s 1.csv", "s 2.csv", "s 2b.csv", "s 3.csv", "s 5.csv"]) == [1, 2, 2, 3, 5]


BLOCKS = [("bed", 4, 40, 250), ("check 1", 3, 30, 300), ("map 1", 4, 20, 100), ("map 2", 4, 50, 300), ("check 2", 3, 30, 300), ("map 3", 3, 60, 150)]  # fmt: skip


@pytest.mark.parametrize("pattern", ["Stop {n}.csv", "Stop {n} check {block}.csv"])
def test_runs_are_numbered_as_the_names_say_and_every_missing_one_is_told(tmp_path, pattern):
    import json

    apps = [
        Application(block=b, pressure=bar, temperature=warm) for b, stops, bar, warm in BLOCKS for _ in range(stops)
    ]
    write_test(tmp_path, apps, Rig(), change=None)
    record = json.loads((tmp_path / "t1.json").read_text())
    kept = [r for r in record["recordings"] if r["recording"] not in GONE]
    for item, file in zip(kept, named(pattern), strict=True):
        item["file"] = file
    (tmp_path / "t1.json").write_text(json.dumps(record | {"recordings": kept}))
    channels = pl.read_parquet(tmp_path / "t1.parquet")
    channels.filter(~pl.col("recording").is_in(GONE)).write_parquet(tmp_path / "t1.parquet")
    found = reduce(tmp_path)
    assert found.stops["run_number"].to_list() == LEFT
    missing = [f["evidence"] for f in found.findings if f["code"] == "stop_missing"]
    assert [m["run_number"] for m in missing] == list(GONE)
    assert all(m["counted"] for m in missing)
    assert [m["run_number"] for m in found.summary["missing"]] == list(GONE)
