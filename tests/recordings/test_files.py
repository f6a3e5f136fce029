"""A test's folder of which parts may not be looked into: one message that says so, and the rest goes on."""

import errno
from pathlib import Path

import pytest

from pipeline.errors import InputError
from pipeline.faults import InputFault
from pipeline.recordings.files import recording_files
from pipeline.workspace.check import checked_place
from tests.recordings.makers import ingested, text_test


@pytest.fixture
def locked(monkeypatch):
    """Paths whose parent may not be searched: the system tells nothing of them."""
    names: set[str] = set()
    known = Path.stat

    def stat(path, **how):
        if path.name in names:
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return known(path, **how)

    monkeypatch.setattr(Path, "stat", stat)
    return names


def test_a_pattern_that_matches_nothing_is_refused_whatever_may_be_looked_at(tmp_path, locked):
    folder = text_test(tmp_path / "t")
    first, *others = (path.name for path in (folder / "recordings").iterdir())
    locked |= set(others)
    with pytest.raises(InputError, match=r"matches no file.*write recordings/\*.csv"):
        recording_files(folder, "records/*.csv")
    locked.add(first)
    with pytest.raises(InputError, match=r"matches no file.*put the recordings there"):
        recording_files(folder, "records/*.csv")


def test_a_recording_that_may_not_be_looked_at_is_told_by_check_and_the_others_go_on(tmp_path, locked):
    folder = text_test(tmp_path / "archive" / "t")
    text_test(tmp_path / "archive" / "other")
    lost = max(path.name for path in (folder / "recordings").iterdir())
    kept = (folder / "recordings" / lost).rename(folder / "recordings" / "locked.csv")
    locked.add(kept.name)
    told = {one.where: one.message for one in checked_place(tmp_path / "archive").problems}
    assert set(told) == {"t/recordings/locked.csv"}
    assert "cannot be looked at (Permission denied)" in told["t/recordings/locked.csv"]
    with pytest.raises(InputFault, match=r"locked\.csv: no permission"):
        ingested(folder, tmp_path / "out")
