"""Small files that hold very much, and readers that never end: refused with the file and the limit, and the rest goes on."""

import gzip
import json
import os
import signal
import subprocess
import sys
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest
import zstandard

from pipeline.cli import bounds
from pipeline.recordings import limits
from pipeline.workspace.check import checked_place
from tests.conftest import REPO, run_stopsheet
from tests.recordings.makers import COLUMNS, card, ingested, samples, text, text_test, write_card, written

HEAD = "t,n,Mb,p,T1\n"


def parquet_test(folder, rows):
    """One recording of equal rows, which pack to almost nothing."""
    write_card(folder, card(format="parquet"))
    pl.select(*(pl.lit(1.0).repeat_by(rows).explode().alias(name) for name in COLUMNS.values())).write_parquet(
        folder / "recordings" / "1.parquet", compression="zstd"
    )
    return folder


def test_a_small_file_of_very_many_rows_is_refused_with_both_numbers(tmp_path, monkeypatch):
    monkeypatch.setattr(limits, "MOST_ROWS", 300_000)
    folder = parquet_test(tmp_path / "t", 400_000)
    assert (folder / "recordings" / "1.parquet").stat().st_size < 20_000
    table, record = ingested(folder, tmp_path / "out")
    assert table.height == 0
    assert record["unusable"].startswith(
        "1.parquet: holds 400,000 rows; at most 300,000 are read".replace("1.", "recordings/1.")
    )
    assert [f["code"] for f in record["findings"]] == ["recordings_too_large"]


def test_check_refuses_such_a_test_too_and_goes_on_with_the_others(tmp_path, monkeypatch):
    """Whether the head tells it (a file's own count of rows) or reading on does (a packed text that goes on and on)."""
    monkeypatch.setattr(limits, "ALWAYS_BYTES", 1 << 17)
    monkeypatch.setattr(limits, "MOST_PACKED", 20)
    folder = text_test(tmp_path / "archive" / "packed")
    written(folder, "0009.csv.gz", (text(samples(4)) + "\n" * (1 << 20)).encode())
    monkeypatch.setattr(limits, "MOST_ROWS", 300_000)
    long = parquet_test(tmp_path / "archive" / "long", 400_000)
    pl.DataFrame({name: np.arange(9.0) for name in COLUMNS.values()}).write_parquet(long / "recordings" / "2.parquet")
    text_test(tmp_path / "archive" / "sound")
    refused = {p.where: p.message for p in checked_place(tmp_path / "archive").problems if p.level == "unusable"}
    assert set(refused) == {"long", "packed"}
    assert "recordings/1.parquet: holds 400,000 rows" in refused["long"]
    assert "recordings/0009.csv.gz: unpacks to more than" in refused["packed"]
    for name in refused:
        _, record = ingested(tmp_path / "archive" / name, tmp_path / name)
        assert record["unusable"] and record["unusable"] in refused[name]


@pytest.mark.parametrize("form", ["mdf", "tdms"])
def test_so_is_one_of_another_format_before_it_is_read(tmp_path, monkeypatch, form):
    from tests.hostile.base import write_base

    monkeypatch.setattr(limits, "MOST_ROWS", 50)
    _, record = ingested(write_base(tmp_path, form, "t"), tmp_path / "out")
    assert "rows; at most 50 are read" in record["unusable"]


def test_rows_are_counted_over_the_recordings_of_a_test(tmp_path, monkeypatch):
    monkeypatch.setattr(limits, "MOST_ROWS", 1000)
    table, record = ingested(text_test(tmp_path / "t"), tmp_path / "out")
    assert table.height == 0
    assert record["unusable"].startswith("the recordings hold 1,200 rows or more; at most 1,000 are read")
    (refused,) = [one for one in checked_place(tmp_path / "t").problems if one.level == "unusable"]
    assert record["unusable"] in refused.message


@pytest.mark.parametrize("pack", [gzip.compress, zstandard.compress], ids=["gz", "zst"])
@pytest.mark.parametrize("form", ["delimited", "mdf"])
def test_a_packed_file_that_unpacks_without_end_is_refused(tmp_path, monkeypatch, pack, form):
    """Blank lines are no rows and no damage; only their number of bytes tells."""
    monkeypatch.setattr(limits, "ALWAYS_BYTES", 1 << 20)
    folder = write_card(tmp_path / "t", card(format=form))
    suffix = "gz" if pack is gzip.compress else "zst"
    (folder / "recordings" / f"1.csv.{suffix}").write_bytes(
        pack((HEAD + "1,1,1,1,1\n" * 9 + "\n" * 40_000_000).encode())
    )
    table, record = ingested(folder, tmp_path / "out")
    assert table.height == 0
    assert "unpacks to more than" in record["unusable"] and f"recordings/1.csv.{suffix}" in record["unusable"]


def test_a_recording_that_packs_well_is_read(tmp_path, monkeypatch):
    monkeypatch.setattr(limits, "ALWAYS_BYTES", 1 << 10)
    folder = write_card(tmp_path / "t", card())
    written(folder, "1.csv.gz", text(samples(1)).encode())
    assert ingested(folder, tmp_path / "out")[1]["unusable"] is None


# Limits in looks of the parent and no seconds of the machine's: its clock stands until the child is where it is to be
# (it then makes a file), and goes a second on at each look. So a busy machine, on which a child takes long to start,
# gives the same end; a limit that is not asked for is out of reach.
CLOCK = """
import os, sys, time
from pathlib import Path
from pipeline.cli import bounds
class Clock:
    seconds = 0.0
    @classmethod
    def monotonic(cls):
        cls.seconds += Path(sys.argv[-1], "there").exists()
        return cls.seconds
bounds.time = Clock
bounds.STALL_S = bounds.LONGEST_S = float("inf")
def there(): Path(sys.argv[-1], "there").touch()
"""
# What the child does instead of reading, by name.
CHILD = """
import signal
from pipeline.cli import bounds
from pipeline.recordings import limits
into, what = Path(sys.argv[2]), sys.argv[1]
if what in ("stall", "busy"): bounds.STALL_S = 2.5
if what == "forever": bounds.LONGEST_S = 5.5
bounds.MEMORY_BYTES = (300 << 20) if what == "memory" else (1 << 50)
why = bounds.read_within(into)
if why is None:
    part = into / f"channels.parquet.{os.getpid()}.part"
    part.write_text("half")
    limits.alive("recordings/7.csv")
    if what == "stall":
        there()
        time.sleep(3600)
    if what == "forever":
        there()
        while True: limits.alive("recordings/7.csv"); time.sleep(0.1)
    if what == "memory":
        held = []
        while True: held.append(b"x" * (20 << 20)); limits.alive("recordings/7.csv"); time.sleep(0.02 if len(held) < 100 else 3600)
    if what == "crash": os.kill(os.getpid(), signal.SIGSEGV)
    if what == "killed": os.kill(os.getpid(), signal.SIGKILL)
    if what == "failed": sys.exit(5)
    if what == "busy":
        limits.alive("recordings/8.csv")
        there()
        9**9**8  # minutes, without a moment for anything else
    part.unlink()
print(why)
"""


def in_child(script, *arguments, room):
    """A script whose parent's clock is `CLOCK`, told by a file in `room`; what it said and how it ended."""
    room.mkdir()
    return subprocess.run(
        [sys.executable, "-c", CLOCK + script, *map(str, arguments), str(room)],
        env=os.environ | {"PYTHONPATH": str(REPO)}, capture_output=True, text=True, check=False,
    )  # fmt: skip


@pytest.mark.skipif(not os.path.isdir("/proc/self"), reason="reading is watched on Linux only")
@pytest.mark.parametrize(
    ("what", "code", "said"),
    [
        ("well", 0, "None"),
        ("failed", 5, ""),
        ("stall", 0, "recordings/7.csv: reading came no further in 2.5 s"),
        ("busy", 0, "recordings/8.csv: reading came no further in 2.5 s"),
        ("forever", 0, "recordings/7.csv: the test's recordings were not read within"),
        ("memory", 0, "recordings/7.csv: reading needs more than"),
        ("crash", 0, "recordings/7.csv: the library that reads it crashed (SIGSEGV)"),
        ("killed", -signal.SIGKILL, ""),
    ],
)
def test_reading_ends_at_its_limits(tmp_path, what, code, said):
    into = tmp_path / "out"
    into.mkdir()
    done = in_child(CHILD, what, into, room=tmp_path / "room")
    assert (done.returncode, done.stderr) == (code, "")
    assert done.stdout.startswith(said) and (said or not done.stdout)
    if what not in ("failed", "killed"):  # those end as a stage that fails: the run sweeps up behind them
        assert list(into.iterdir()) == []


def test_each_word_of_the_reader_begins_the_wait_anew(monkeypatch):
    """Words that come just in time keep a reader alive for as long as it likes; the first that is late ends it."""
    ours, theirs = os.pipe()
    clock = iter(np.r_[0.0, 1.0, np.arange(2.0, 12.0, 2.0), 12.5, 13.5, 14.5])
    said = iter([b"a\n", b"b\n", b"c\n", b"d", b"d\n", b"e\n"])

    def look(*_):
        word = next(said, None)
        if word is not None:
            os.write(theirs, word)
        return [ours] if word is not None else [], [], []

    monkeypatch.setattr(bounds, "time", SimpleNamespace(monotonic=lambda: float(next(clock))))
    monkeypatch.setattr(bounds, "select", SimpleNamespace(select=look))
    monkeypatch.setattr(bounds, "STALL_S", 3.5)
    lines = ["the recordings"]
    why = bounds._watched(os.getpid(), ours, lines)
    assert why.startswith("reading came no further in 3.5 s") and lines == ["e"] and next(clock, None) is None
    os.close(ours)
    os.close(theirs)


def test_the_stage_reads_in_a_child_and_says_what_a_library_would_have_hung_on(tmp_path):
    folder = text_test(tmp_path / "t")
    script = """
from pipeline.cli import channels; bounds.STALL_S = 2.5; within = bounds.read_within
def hang(*_):
    there()
    time.sleep(3600)
def slow(outputs):
    why = within(outputs)
    if why is None:
        from pipeline.recordings import delimited
        delimited.read = hang
    return why
channels.read_within = slow
from pipeline.cli.stages import call; from pipeline.stages import STAGES
call(STAGES['channels'], {'folder': Path(sys.argv[1]), 'into': Path(sys.argv[2]), 'fingerprint': '', 'wear': None})
"""
    (tmp_path / "out").mkdir()
    done = in_child(script, folder, tmp_path / "out", room=tmp_path / "room")
    assert done.returncode == 0, done.stderr
    record = json.loads((tmp_path / "out" / "t.json").read_text())
    assert record["unusable"].startswith("recordings/0001.csv: reading came no further in 2.5 s")
    assert [f["code"] for f in record["findings"]] == ["recordings_too_large"]


def test_check_survives_a_library_that_crashes(tmp_path):
    text_test(tmp_path / "archive" / "t")
    script = (
        "import os, signal, sys; from pipeline.cli import bounds, run, workspace; within = bounds.read_within\n"
        "def crash(*_, **__):\n"
        "    os.kill(os.getpid(), signal.SIGSEGV)\n"
        "def patched():\n"
        "    why = within()\n"
        "    if why is None:\n"
        "        from pipeline.recordings import delimited\n"
        "        delimited.head = crash\n"
        "    return why\n"
        "workspace.read_within = patched\n"
        "sys.exit(run(['check', sys.argv[1]]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(tmp_path / "archive")], env=os.environ | {"PYTHONPATH": str(REPO)},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert "t/recordings/0001.csv: the library that reads it crashed" in done.stderr
    assert len(done.stderr.splitlines()) == 1


@pytest.mark.heavy
def test_the_other_test_of_the_archive_goes_on(tmp_path):
    """200 million equal rows in a few megabytes, written row group by row group, beside a sound test."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    text_test(tmp_path / "archive" / "sound")
    bomb = write_card(tmp_path / "archive" / "bomb", card(format="parquet"))
    table = pa.table({name: np.ones(10_000_000) for name in COLUMNS.values()})
    with pq.ParquetWriter(bomb / "recordings" / "1.parquet", table.schema, compression="zstd") as file:
        for _ in range(20):
            file.write_table(table, row_group_size=10_000_000)
    assert (bomb / "recordings" / "1.parquet").stat().st_size < 5_000_000
    (tmp_path / "m.yaml").write_text("")
    (tmp_path / "config.yaml").write_text("archive: archive\nresults: results\nmethods: [m.yaml]\n")
    done = run_stopsheet("run", tmp_path / "config.yaml", "--cores", "1", check=False)
    assert done.returncode == 3, done.stderr
    assert "200,000,000 rows; at most 100,000,000 are read" in done.stdout + done.stderr
    stops = pl.read_parquet(tmp_path / "results" / "m" / "tests" / "sound" / "stops.parquet")
    assert stops.height == 3
