"""Hostile folders: links, names, kinds of file and compressed bombs in a test's folder."""

from __future__ import annotations

import gzip
import os
from pathlib import Path

import numpy as np

from tests.hostile.damage import one, recordings
from tests.hostile.settings import plain

Rng = np.random.Generator
NAMES = ("stop 001 \N{FIRE}.csv", "stop_<xss-marker>.csv", "=cmd.csv", "stop_001.csv.csv", "\u202estop.csv", "stop\n2.csv", "a" * 200 + ".csv",
         "stop_٣.csv", "-rf.csv", "stop_001.CSV", "%s%n.csv", "'; drop.csv", "{wildcard}.csv", "stop_0999999999999999999999.csv")  # fmt: skip


def renamed(folder: Path, rng: Rng) -> None:
    path = one(folder, rng)
    path.rename(path.with_name(str(rng.choice(NAMES))))


def name_of_bytes(folder: Path, rng: Rng) -> None:
    path = one(folder, rng)
    os.rename(os.fsencode(path), os.fsencode(path.parent) + b"/stop_\xff\xfe.csv")


def copied(folder: Path, rng: Rng) -> None:
    path = one(folder, rng)
    path.with_name(f"copy of {path.name}").write_bytes(path.read_bytes())


def removed(folder: Path, rng: Rng) -> None:
    files = recordings(folder)
    for path in files if rng.random() < 0.2 else [one(folder, rng)]:
        path.unlink()


def linked_out(folder: Path, rng: Rng) -> None:
    """A recording that is a link to a file outside the archive."""
    path = one(folder, rng)
    outside = folder.parent.parent / "outside"
    target = rng.choice(
        [str(outside / "secret.csv"), "../../../outside/secret.csv", "/etc/passwd", "/dev/zero", "/nonexistent"]
    )
    path.unlink()
    os.symlink(str(target), path)


def linked_folder(folder: Path, rng: Rng) -> None:
    """The whole folder of recordings a link: out of the archive, or to itself."""
    target = folder.parent.parent / "outside" if rng.random() < 0.7 else folder / "recordings"
    (folder / "recordings").rename(folder / "moved")
    os.symlink(target, folder / "recordings")


def card_linked(folder: Path, rng: Rng) -> None:
    (folder / "test.yaml").unlink()
    os.symlink(rng.choice(["/etc/passwd", "/dev/zero", str(folder / "test.yaml")]), folder / "test.yaml")


def wear_linked(folder: Path, rng: Rng) -> None:
    (folder / "wear.csv").unlink()
    outside = folder.parent.parent / "outside" / "secret.csv"
    os.symlink(rng.choice([str(outside), "/etc/passwd", "/dev/zero", str(folder / "wear.csv")]), folder / "wear.csv")


def not_a_file(folder: Path, rng: Rng) -> None:
    """A pipe or a folder where a file is expected."""
    path = [one(folder, rng), folder / "test.yaml", folder / "wear.csv"][rng.integers(3)]
    path.unlink()
    if rng.random() < 0.5:
        os.mkfifo(path)
    else:
        path.mkdir()


def recordings_a_file(folder: Path, rng: Rng) -> None:
    for path in recordings(folder):
        path.unlink()
    (folder / "recordings").rmdir()
    (folder / "recordings").write_bytes(b"x")


def unreadable(folder: Path, rng: Rng) -> None:
    """No permission (which a superuser does not notice)."""
    os.chmod(one(folder, rng), 0)


def bomb(folder: Path, rng: Rng) -> None:
    """A small compressed file that unpacks to a great deal of nothing."""
    filler = [b"\n" * 1000, b"0" * 1000, b"t,n,Mb,p,T1\n" + b"1,1,1,1,1\n" * 100, b"#" * 1000][rng.integers(4)]
    data = gzip.compress(filler * 30_000, 1)
    path = one(folder, rng)
    path.with_name(path.name + ".gz").write_bytes(data[: None if rng.random() < 0.8 else len(data) // 2])
    text = plain(folder / "test.yaml").read_text()
    (folder / "test.yaml").write_text(text.replace("recordings/*.csv", "recordings/*"))


ALL = (
    renamed, name_of_bytes, copied, removed, linked_out, linked_folder, card_linked, wear_linked, not_a_file,
    recordings_a_file, unreadable, bomb,
)  # fmt: skip
