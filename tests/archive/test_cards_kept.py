"""What cards say is kept as long as their files are the same, and never where it could be another by now."""

import os

import pytest

from pipeline.archive import cards_kept, scan
from pipeline.inputs import seen


@pytest.fixture
def archive(tmp_path, monkeypatch):
    """Two tests and a folder of results; how often cards were read."""
    monkeypatch.setattr(seen, "UNSETTLED_S", -60.0)  # the files are new
    for name in ("t-1", "t-2"):
        (tmp_path / "archive" / name).mkdir(parents=True)
        (tmp_path / "archive" / name / "test.yaml").write_text(
            "compound: A\nrig: north\ndate: 2026-03-01\nwear: wear.csv\n"
        )
    (tmp_path / "results").mkdir()
    return tmp_path / "archive"


@pytest.fixture
def read(monkeypatch):
    names, usual = [], scan._said
    monkeypatch.setattr(scan, "_said", lambda folder: names.append(folder.name) or usual(folder))
    return names


def scanned(archive):
    return scan.scan(archive, archive.parent / "results")


def test_a_card_is_read_once(archive, read):
    first = scanned(archive)
    assert read == ["t-1", "t-2"] and first == scan.scan(archive)
    del read[:]
    assert scanned(archive) == first and read == []


def test_without_results_nothing_is_kept(archive, read):
    scan.scan(archive)
    scan.scan(archive, archive.parent / "none")
    assert read == ["t-1", "t-2"] * 2 and not (archive.parent / "none").exists()


def test_an_edit_of_the_same_size_and_time_is_seen(archive, read):
    scanned(archive)
    card = archive / "t-2" / "test.yaml"
    info = card.stat()
    card.write_text(card.read_text().replace("compound: A", "compound: B"))
    os.utime(card, ns=(info.st_atime_ns, info.st_mtime_ns))
    assert scanned(archive).tests == {"t-1": "A", "t-2": "B"}
    assert read == ["t-1", "t-2", "t-2"]


def test_a_card_edited_just_before_is_read_again(archive, read, monkeypatch):
    monkeypatch.setattr(seen, "UNSETTLED_S", 2.0)
    scanned(archive)
    scanned(archive)
    assert read == ["t-1", "t-2"] * 2


def test_a_card_that_could_not_be_read_is_read_again(archive, monkeypatch):
    """Whether it may be read does not show in its state, as where a disk fails or another user looks."""
    usual = scan._said
    monkeypatch.setattr(scan, "_said", lambda folder: {} if folder.name == "t-2" else usual(folder))
    assert scanned(archive).tests == {"t-1": "A", "t-2": None}
    monkeypatch.setattr(scan, "_said", usual)
    assert scanned(archive).tests == {"t-1": "A", "t-2": "A"}


@pytest.mark.parametrize("damage", ["", "[]", "{}", '{"of": 1, "cards": 2}', "{", '{"of": OF, "cards": {"t-1": 5}}'])
def test_damaged_notes_are_no_notes(archive, read, damage):
    found = scanned(archive)
    place = archive.parent / "results" / cards_kept.NAME
    of = place.read_text().split('"of": ')[1].split("]")[0] + "]"
    place.write_text(damage.replace("OF", of))
    assert scanned(archive) == found and read == ["t-1", "t-2"] * 2


def test_notes_of_another_archive_or_another_code_are_none(archive, read, monkeypatch):
    scanned(archive)
    moved = archive.rename(archive.with_name("moved"))
    scan.scan(moved, moved.parent / "results")
    assert read == ["t-1", "t-2"] * 2
    monkeypatch.setattr(cards_kept, "READERS", ())
    scan.scan(moved, moved.parent / "results")
    assert read == ["t-1", "t-2"] * 3


def test_a_card_taken_out_is_forgotten(archive):
    scanned(archive)
    (archive / "t-1" / "test.yaml").unlink()
    assert scanned(archive).tests == {"t-1": None, "t-2": "A"}
    (archive / "t-1" / "test.yaml").symlink_to(archive / "t-2" / "test.yaml")
    assert scanned(archive).tests == {"t-1": "A", "t-2": "A"}
