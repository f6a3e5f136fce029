"""Where a test's recordings stand: each a file, or a sheet of a workbook, a group or table of an HDF5 file.

`sheet` or `dataset` of the card is a wildcard; what matches is one recording each, in natural order, and is called
`recordings/a.xlsx#Stop 3` wherever a recording is named. Without it a file is one recording.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from importlib import import_module
from pathlib import Path
from typing import NamedTuple

from pipeline.archive.scan import printable
from pipeline.archive.written import Written
from pipeline.errors import InputError
from pipeline.recordings.chunk import Chunk
from pipeline.recordings.files import refuse_outside, shown

DIVIDED = ("xlsx", "hdf5")


class Place(NamedTuple):
    """A recording: its file, and the part of it (None: the whole)."""

    path: Path
    part: str | None = None

    def name(self, folder: Path) -> str:
        """As results and messages call it."""
        return shown(self.path, folder) + (f"#{printable(self.part)}" if self.part is not None else "")


def places(paths: Iterable[Path], folder: Path, recordings: Written) -> list[Place]:
    """The recordings of the files, in order. A file that cannot be opened is one place: reading it says why."""
    if recordings.format not in DIVIDED or recordings.part is None:
        return [Place(path) for path in paths]
    parts: Callable[[Path, str], list[str]] = import_module(f"pipeline.recordings.{recordings.format}").parts
    found = []
    for path in paths:
        try:
            refuse_outside(path, folder)
            found += [Place(path, part) for part in parts(path, recordings.part)]
        except InputError:
            found.append(Place(path))
    return found


def reader(form: str) -> Callable[..., Iterator[Chunk]]:
    """The reader of a format; its libraries are imported when it reads. Raises InputError when they are not installed."""
    read = import_module(f"pipeline.recordings.{form}").read
    if form in DIVIDED:
        return lambda place, recordings, **needed: read(place.path, recordings, place.part, **needed)
    return lambda place, recordings, **needed: read(place.path, recordings, **needed)
