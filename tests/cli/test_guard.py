"""A fault in one stage leaves whole files that say so, and is tried again: one of the machine always, one of ours once."""

import errno
from pathlib import Path

import polars as pl
import pytest

from pipeline.cli import guard, notes
from pipeline.cli.guard import guarded
from pipeline.errors import InputError
from pipeline.faults import InputFault
from pipeline.results import fault, read_json
from pipeline.results.batches import CompoundBatches
from pipeline.results.drift import TestDrift
from pipeline.results.duty import CompoundDuty
from pipeline.results.model import read
from pipeline.results.repeatability import Repeatability
from pipeline.results.rigs import Rigs
from pipeline.results.wear import CompoundWear, TestWear


def failing(error):
    def call():
        raise error

    return call


def test_a_failing_stage_leaves_unusable_files_and_a_good_run_clears_the_log(tmp_path):
    outputs = [tmp_path / name for name in ("stops.parquet", "summary.json", "test.html", "sheet.pdf")]
    guarded("stops", "t1", outputs, failing(ZeroDivisionError("<b>")))
    assert pl.read_parquet(outputs[0]).columns[:2] == ["stop", "file"]
    assert "fault of ours in stage stops" in read_json(outputs[1])["unusable"]
    assert "fault of ours" in outputs[2].read_text()
    assert outputs[3].read_bytes().startswith(b"%PDF")
    assert "ZeroDivisionError" in (tmp_path / "stops.parquet.fault.txt").read_text()
    assert not list(tmp_path.glob("*.part"))
    guarded("stops", "t1", outputs, lambda: None)
    assert not list(tmp_path.glob("*.fault.*"))


def test_files_of_a_compound_that_failed_read_as_what_they_are(tmp_path):
    folder = tmp_path / "compounds" / "marram-4"
    outputs = [folder / "wear.json", folder / "batches.json", folder / "duty.json"]
    guarded("compound", "Marram 4", outputs, failing(InputError("targets: not readable")))
    for path, model in zip(outputs, (CompoundWear, CompoundBatches, CompoundDuty), strict=True):
        found = read(path, model)
        assert (found.compound, found.unusable) == ("Marram 4", "targets: not readable")


@pytest.mark.parametrize(
    ("name", "model"), [("wear", TestWear), ("drift", TestDrift), ("repeatability", Repeatability), ("rigs", Rigs)]
)
def test_the_file_of_a_failed_stage_can_be_read_by_the_next(tmp_path, name, model):
    path = tmp_path / f"{name}.json"
    guarded(name, "t1", [path], failing(ZeroDivisionError()))
    assert "fault of ours" in read(path, model).unusable


def test_a_fault_of_ours_is_tried_twice_for_each_version(tmp_path, monkeypatch):
    outputs = [tmp_path / "wear.json"]
    due = []
    for _ in range(3):
        guarded("wear", "t1", outputs, failing(ZeroDivisionError()))
        due += [one.due for one in fault.left_in(tmp_path).values()]
    assert due == [True, False, False]
    monkeypatch.setattr(fault, "software", lambda: "the next version")
    assert [one.due for one in fault.left_in(tmp_path).values()] == [True]
    guarded("wear", "t1", outputs, failing(ZeroDivisionError()))
    assert [(one.tries, one.due) for one in fault.left_in(tmp_path).values()] == [(1, True)]


def test_what_the_machine_keeps_from_being_read_is_told_and_always_tried_again(tmp_path, capsys):
    outputs = [tmp_path / "channels.parquet", tmp_path / "channels.json"]
    why = "recordings/1.csv: no permission; give it and run again"
    for _ in range(3):
        guarded("channels", "t1", outputs, failing(InputFault(why)))
        assert [one.due for one in fault.left_in(tmp_path).values()] == [True]
    assert read_json(outputs[1])["unusable"] == why
    assert capsys.readouterr().err.splitlines() == [f"stopsheet: t1: {why}"] * 3
    assert not list(tmp_path.glob("*.txt"))


def test_bad_input_is_no_fault(tmp_path, capsys):
    guarded("wear", "t1", [tmp_path / "wear.json"], failing(InputError("test.yaml: inertia: missing")))
    assert read_json(tmp_path / "wear.json")["unusable"] == "test.yaml: inertia: missing"
    assert not list(tmp_path.glob("*.fault.*")) and capsys.readouterr().err == ""


WRAPPED = pl.exceptions.ComputeError("parquet: underlying IO error: No space left on device (os error 28)")


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (OSError(errno.ENOSPC, "No space left on device"), "the disk is full; free space and run again"),
        (OSError(errno.EDQUOT, "Quota"), "the disk's quota is used up; free space and run again"),
        (WRAPPED, "the disk is full; free space and run again"),
        (MemoryError(), "the memory is not enough; run again with fewer --cores"),
        (PermissionError(errno.EACCES, "no", "/r/x.json"), "/r/x.json: no permission; give it and run again"),
        (OSError(errno.EIO, "Input/output error"), "the disk reports an error (Input/output error)"),
    ],
)
def test_a_machine_that_cannot_go_on_ends_the_stage_in_one_line(tmp_path, capsys, error, said):
    output = tmp_path / "stops.parquet"
    with pytest.raises(SystemExit) as end:
        guarded("stops", "t1", [output], failing(error))
    assert end.value.code == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("stopsheet: t1: stage stops: /") and said in line
    assert list(tmp_path.iterdir()) == []


def test_a_disk_that_fills_while_the_fault_is_written_ends_the_stage(tmp_path, capsys, monkeypatch):
    def full(path, text):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(guard, "write_text", full)
    with pytest.raises(SystemExit):
        guarded("wear", "t1", [tmp_path / "wear.json"], failing(ZeroDivisionError()))
    assert "the disk is full" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_fault_of_ours_that_no_output_can_carry_ends_the_stage(tmp_path, capsys):
    with pytest.raises(SystemExit):
        guarded("index", "first", [tmp_path / "archive.json"], failing(ZeroDivisionError()), carried=[])
    assert "fault of ours in stage index" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["archive.json.fault.txt"]


def test_a_stage_that_is_stopped_while_it_leaves_its_note_takes_it_away(tmp_path, monkeypatch):
    """Else the run would say that it was killed."""
    write = Path.write_text

    def stopped(path, *arguments, **how):
        write(path, *arguments, **how)
        raise SystemExit(143)

    monkeypatch.setenv(notes.JOBS, str(tmp_path))
    monkeypatch.setattr(Path, "write_text", stopped)
    with pytest.raises(SystemExit), notes.noted("t1: stage wear", tmp_path / "into"):
        pass
    assert list(tmp_path.iterdir()) == []
