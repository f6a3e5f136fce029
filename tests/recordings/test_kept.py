"""A test that is read again as recordings are added: what stands as it was is not read twice, and nothing is another for it."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from pipeline.recordings import kept, places, stage
from pipeline.recordings.kept import Kept
from tests.recordings.makers import card, text_test, write_card


@pytest.fixture
def test(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A test whose files count as settled; READ has the names of the recordings that are read."""
    monkeypatch.setattr(kept, "UNSETTLED_S", -60.0)
    return text_test(tmp_path / "archive" / "t")


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the recordings that a reader was asked for."""
    names: list[str] = []
    usual = places.reader

    def counting(form: str):  # type: ignore[no-untyped-def]
        read = usual(form)

        def told(place, recordings, **needed):  # type: ignore[no-untyped-def]
            names.append(place.path.name)
            return read(place, recordings, **needed)

        return told

    monkeypatch.setattr(stage, "reader", counting)
    return names


def read(test: Path, room: Path, known: Kept | None) -> tuple[object, bytes]:
    place = room / "channels.parquet"
    record = stage.read_recordings(test, place, kept=known)
    return record.model_dump(exclude={"stamp"}), place.read_bytes()


def held_against_a_first_read(test: Path, room: Path, known: Kept, opened: list[str]) -> list[str]:
    """What was opened, the results being those of a read from the start."""
    opened.clear()
    again = read(test, room, known)
    names = list(opened)
    assert again == read(test, room, None)
    return names


def test_only_what_is_new_or_another_is_read(test: Path, tmp_path: Path, opened: list[str]) -> None:
    known, folder = Kept(), test / "recordings"
    files = sorted(path.name for path in folder.iterdir())
    assert held_against_a_first_read(test, tmp_path, known, opened) == files
    assert held_against_a_first_read(test, tmp_path, known, opened) == []
    first = folder / files[0]
    times = first.stat()
    text = first.read_text()
    first.write_text(text.replace("1", "2"))  # of equal size, and of equal time by whoever sets it
    os.utime(first, ns=(times.st_atime_ns, times.st_mtime_ns))
    assert held_against_a_first_read(test, tmp_path, known, opened) == files[:1]
    shutil.copy(folder / files[1], folder / "0099.csv")
    assert "0099.csv" in held_against_a_first_read(test, tmp_path, known, opened)


def test_what_the_card_says_otherwise_is_read_anew(test: Path, tmp_path: Path, opened: list[str]) -> None:
    known = Kept()
    files = held_against_a_first_read(test, tmp_path, known, opened)
    write_card(test, card(comment="#"))
    assert files and held_against_a_first_read(test, tmp_path, known, opened) == files


def test_files_that_changed_just_before_prove_nothing(
    test: Path, tmp_path: Path, opened: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(kept, "UNSETTLED_S", 60.0)
    known = Kept()
    files = held_against_a_first_read(test, tmp_path, known, opened)
    assert files and held_against_a_first_read(test, tmp_path, known, opened) == files


def test_what_does_not_fit_is_read_again(
    test: Path, tmp_path: Path, opened: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(kept, "KEPT_BYTES", 0)
    known = Kept()
    files = held_against_a_first_read(test, tmp_path, known, opened)
    assert files and held_against_a_first_read(test, tmp_path, known, opened) == files
