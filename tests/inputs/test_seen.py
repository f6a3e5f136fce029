"""What the plan saw of a test's files, and that a stage notices where it reads something else."""

import os
import time

import pytest

from pipeline.errors import InputError
from pipeline.faults import InputFault
from pipeline.inputs import seen
from pipeline.inputs.plain_files import plain_bytes


@pytest.fixture
def folder(tmp_path):
    test = tmp_path / "archive" / "t1"
    (test / "recordings").mkdir(parents=True)
    (test / "test.yaml").write_text("schema: 1\n")
    (test / "wear.csv").write_text("after_stop\n")
    (test / "recordings" / "1.csv").write_text("t\n1\n")
    return test


@pytest.fixture
def planned(folder, tmp_path):
    """The plan's list of the folder, in force for what is read."""
    lists = tmp_path / "lists"
    files = seen.look(folder)
    seen.write(lists / "t1.json", folder, files)
    seen.hold_against(lists)
    yield seen.fingerprint(files, besides="wear.csv")
    seen.hold_against(None)


def mark(folder, **options):
    return seen.fingerprint(seen.look(folder), **options)


def aged(path, seconds=100.0):
    """The file as if it had been written long ago, as far as a program can set that."""
    then = time.time() - seconds
    os.utime(path, (then, then))


def test_an_edit_of_equal_size_and_time_is_seen(folder):
    path = folder / "recordings" / "1.csv"
    aged(path)
    info, known = path.stat(), seen.look(folder)
    path.write_text("t\n2\n")
    os.utime(path, ns=(info.st_atime_ns, info.st_mtime_ns))
    assert (path.stat().st_size, path.stat().st_mtime_ns) == (info.st_size, info.st_mtime_ns)
    assert seen.fingerprint(seen.look(folder, known)) != seen.fingerprint(known)


def test_a_new_time_alone_is_no_change(folder):
    before = mark(folder)
    aged(folder / "recordings" / "1.csv")
    assert mark(folder) == before


def test_files_that_have_settled_are_not_read_again(folder, monkeypatch):
    monkeypatch.setattr(seen, "UNSETTLED_S", -3600.0)  # as if an hour had gone by
    known = seen.look(folder)
    monkeypatch.setattr(seen.hashlib, "file_digest", lambda *_: pytest.fail("a file was read again"))
    assert seen.look(folder, known) == known


def test_a_file_of_this_moment_is_read_again(folder, monkeypatch):
    """Its times may be those of the next edit, too."""
    monkeypatch.setattr(seen, "UNSETTLED_S", 3600.0)  # however long ago the fixture wrote them
    assert all(file.state is None for file in seen.look(folder).values())


def test_the_wear_file_has_a_mark_of_its_own(folder):
    before, wear = mark(folder, besides="wear.csv"), mark(folder, only="wear.csv")
    (folder / "wear.csv").write_text("after_stop\n1\n")
    assert mark(folder, besides="wear.csv") == before
    assert mark(folder, only="wear.csv") != wear


def test_a_pipe_and_a_link_to_nothing_count(folder):
    """Each stands for a recording: when the recording is put there, the test must be read again."""
    states = {mark(folder)}
    os.mkfifo(folder / "1.csv")
    states.add(mark(folder))
    (folder / "2.csv").symlink_to("nothing")
    states.add(mark(folder))
    assert len(states) == 3


def test_a_list_of_names_that_are_no_text_comes_back_as_it_was(folder, tmp_path):
    with open(os.fsencode(folder) + b"/\xff.csv", "wb") as file:
        file.write(b"1")
    files = seen.look(folder)
    seen.write(tmp_path / "list.json", folder, files)
    assert seen.read(tmp_path / "list.json", folder) == files
    assert seen.read(tmp_path / "list.json", tmp_path) == {}


def test_what_is_as_the_run_saw_it_is_read(folder, planned):
    assert plain_bytes(folder / "test.yaml", 100, inside=folder.parent) == b"schema: 1\n"
    seen.refuse_changed(folder, planned, "wear.csv")
    (folder / "wear.csv").write_text("changed, and another stage's to see\n")
    seen.refuse_changed(folder, planned, "wear.csv")


@pytest.mark.parametrize("what", ["changed", "vanished", "appeared"])
def test_a_recording_that_is_not_as_the_run_saw_it_is_named(folder, planned, what):
    path = folder / "recordings" / ("2.csv" if what == "appeared" else "1.csv")
    path.unlink() if what == "vanished" else path.write_text("t\n3\n")
    with pytest.raises(InputFault, match=rf"{path}: {what} while it was read; run again"):
        seen.refuse_changed(folder, planned, "wear.csv")


def test_a_card_that_is_not_as_the_run_saw_it_is_named(folder, planned):
    path = folder / "test.yaml"
    path.write_text("schema: 2\n")
    with pytest.raises(InputFault, match=r"test.yaml: changed since the run began; run again"):
        plain_bytes(path, 100, inside=folder.parent)
    path.unlink()
    with pytest.raises(InputFault, match=r"test.yaml: is not there any more; put it back and run again"):
        plain_bytes(path, 100, inside=folder.parent)


def test_a_card_that_was_never_there_is_bad_input(folder, planned):
    with pytest.raises(InputError, match="is not there"):
        plain_bytes(folder / "other.yaml", 100, inside=folder.parent)
