"""HDF5 recordings: a group with one dataset a channel, or one table (a dataset with named fields).

A mapped column is the dataset's or the field's name. What leads out of the file (external links, external or virtual storage)
is refused. `h5py` is imported only here.
"""

from __future__ import annotations

import fnmatch
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.archive.card import REQUIRED_CHANNELS
from pipeline.archive.scan import natural_key
from pipeline.archive.written import Dates, Written
from pipeline.errors import InputError
from pipeline.recordings.chunk import CHUNK_ROWS, Chunk, ClockKind
from pipeline.recordings.columns import positions, units_in
from pipeline.recordings.files import plain_file
from pipeline.recordings.limits import ALWAYS_BYTES, TooMuch, refuse_rows
from pipeline.recordings.numbers import damage_of, numbers
from pipeline.recordings.timestamps import parsed

NOT_INSTALLED = "HDF5 recordings need the package h5py; install it with: pip install 'stopsheet[all]'"
MOST_NAMES = 100_000


def parts(path: Path, wanted: str) -> list[str]:
    """Paths of the groups and tables that match the wildcard, in natural order. Raises InputError where none does."""
    pattern = wanted.strip("/")
    with _opened(path) as file:
        names = _names(file)
        found = [n for n in names if _matches(n, pattern) and _holds_channels(_inside(file, n))]
    if not found:
        has = ", ".join(repr(n[:60]) for n in names[:8]) + (", ..." if len(names) > 8 else "")
        raise InputError(f"no group or table matches recordings.dataset {wanted!r}; the file has {has or 'nothing'}")
    return sorted(found, key=lambda n: (natural_key(n), n))


def listed(path: Path) -> list[tuple[str, list[tuple[str, int]]]]:
    """Every group ("" for the root) and table that holds channels, in natural order, with each channel's name and length."""
    with _opened(path) as file:
        places = ["", *sorted(_names(file), key=lambda n: (natural_key(n), n))]
        found = []
        for name in places:
            place = _inside(file, name) if name else file
            if _holds_channels(place):
                found.append((name, _lengths(place)))
    return found


def _lengths(place: Any) -> list[tuple[str, int]]:
    import h5py

    if isinstance(place, h5py.Dataset):
        return [(name, int(place.shape[0])) for name in _channels_of(place)] if place.ndim == 1 else []
    hard = [key for key in _channels_of(place) if isinstance(place.get(key, getlink=True), h5py.HardLink)]
    data = {key: place[key] for key in hard}
    return [
        (key, int(d.shape[0]))
        for key, d in data.items()
        if d.ndim == 1 and (d.dtype.kind in "iufb" or h5py.check_string_dtype(d.dtype)) and not d.dtype.names
    ]


def _matches(name: str, pattern: str) -> bool:
    """Whether the wildcard fits, level by level."""
    levels, wanted = name.split("/"), pattern.split("/")
    return len(levels) == len(wanted) and all(fnmatch.fnmatchcase(a, b) for a, b in zip(levels, wanted, strict=True))


def read(
    path: Path, recordings: Written, part: str | None = None, *, needed: Sequence[str] = REQUIRED_CHANNELS
) -> Iterator[Chunk]:
    """Chunks of one group or table. Raises InputError when it is not what the card says or h5py is not installed."""
    if part is None and recordings.part is not None:
        part, *more = parts(path, recordings.part)
        if more:
            raise InputError(
                f"recordings.dataset {recordings.part!r} matches {len(more) + 1} groups or tables; one is meant here"
            )
    with _opened(path) as file:
        place = file if part is None else _inside(file, part)
        names = _channels_of(place)
        columns = positions(names, recordings.channels, needed=("time", *needed))
        stored = {name: _Stored(place, names[at]) for name, at in columns.items()}
        size = _size(stored, recordings)
        units = units_in(names, columns) | {n: s.unit for n, s in stored.items() if s.unit}
        clock: ClockKind | None = None
        for first in range(0, size, CHUNK_ROWS):
            series, damage = [], []
            for name, one in stored.items():
                cells = one.read(first, CHUNK_ROWS)
                if name == "time" and recordings.timestamps:
                    values, bad, clock = _stamps(cells, clock, one.name, recordings.dates)
                else:
                    values, bad = _numbers(cells, one.name, recordings)
                damage += damage_of(name, cells, values, bad, None)
                series.append(values.alias(name))
            yield Chunk(pl.DataFrame(series), damage, units, clock)


def _stamps(
    cells: pl.Series, clock: ClockKind | None, name: str, dates: Dates
) -> tuple[pl.Series, pl.Series, ClockKind | None]:
    if cells.dtype != pl.String:
        raise InputError(f"dataset {name!r} (time) holds numbers, no timestamps; give its unit in test.yaml, such as s")
    return parsed(cells, clock, dates)


def _numbers(cells: pl.Series, name: str, recordings: Written) -> tuple[pl.Series, pl.Series]:
    if cells.dtype == pl.String:
        return numbers(cells, recordings.decimal)
    bad = cells.is_infinite()
    return cells.set(bad, float("nan")), bad


class _Stored:
    """One channel: a dataset, or a field of a table."""

    def __init__(self, place: Any, name: str) -> None:
        import h5py

        self.name, self.field = name, None
        if isinstance(place, h5py.Dataset):
            self.data, self.field, kind = place, name, place.dtype[name]
        else:
            self.data = _inside(place, name)
            kind = self.data.dtype
        _refuse_storage(self.data, name)
        if self.data.ndim != 1 or (kind.kind not in "iufb" and h5py.check_string_dtype(kind) is None):
            raise InputError(f"dataset {name!r} holds {kind} of {self.data.ndim} dimensions, not a row of numbers")
        self.text = kind.kind not in "iufb"
        said = self.data.attrs.get("units", self.data.attrs.get("unit")) if self.field is None else None
        said = said.decode("utf-8", "replace") if isinstance(said, bytes) else said
        self.unit = said.strip() if isinstance(said, str) else ""

    def read(self, first: int, count: int) -> pl.Series:
        cells = self.data[first : first + count]
        cells = cells[self.field] if self.field is not None else cells
        if self.text:
            return pl.Series(
                [c.decode("utf-8", "replace") if isinstance(c, bytes) else str(c) for c in cells], dtype=pl.String
            )
        return pl.Series(np.asarray(cells).astype(float))


def _size(stored: dict[str, _Stored], recordings: Written) -> int:
    sizes = {name: int(one.data.shape[0]) for name, one in stored.items()}
    refuse_rows(max(sizes.values()))
    if len(set(sizes.values())) > 1:
        told = ", ".join(f"{recordings.channels[name].column} {size}" for name, size in list(sizes.items())[:6])
        raise InputError(f"its channels have different numbers of samples ({told}); export them with one time")
    return max(sizes.values())


def _refuse_storage(data: Any, name: str) -> None:
    """InputError where a dataset's values stand in another file, TooMuch where one stored block would fill the memory."""
    if data.external or data.is_virtual:
        raise InputError(f"dataset {name!r} keeps its values in other files; export it with its values inside")
    if data.chunks is not None and int(np.prod(data.chunks, dtype=float)) * data.dtype.itemsize > ALWAYS_BYTES:
        raise TooMuch(
            f"dataset {name!r} is stored in blocks of over {ALWAYS_BYTES >> 20} MB; export it in smaller ones"
        )


def _names(file: Any) -> list[str]:
    """Paths of all groups and datasets, by links that stay in the file."""
    import h5py

    names: list[str] = []
    queue = [""]
    while queue:
        at = queue.pop()
        for key in file[at or "/"]:
            name = f"{at}/{key}".strip("/")
            if not isinstance(file.get(name, getlink=True), h5py.HardLink):
                continue
            names.append(name)
            if len(names) > MOST_NAMES:
                raise TooMuch(f"holds over {MOST_NAMES:,} groups and datasets")
            if file.get(name, getclass=True) is h5py.Group and name.count("/") < 16:
                queue.append(name)
    return names


def _inside(place: Any, name: str) -> Any:
    """The group or dataset of that path. Raises InputError for a link that leads elsewhere."""
    import h5py

    for level in name.split("/"):
        if not isinstance(place.get(level, getlink=True), h5py.HardLink):
            raise InputError(f"{name!r} is a link, not data of the file; export it with its values inside")
        place = place[level]
    return place


def _holds_channels(place: Any) -> bool:
    import h5py

    if isinstance(place, h5py.Dataset):
        return bool(place.dtype.names)
    return any(
        place.get(key, getclass=True) is h5py.Dataset
        for key in place
        if isinstance(place.get(key, getlink=True), h5py.HardLink)
    )


def _channels_of(place: Any) -> list[str]:
    """Names of the channels: fields of a table, datasets (and links, which are refused when they are mapped) of a group."""
    import h5py

    if isinstance(place, h5py.Dataset):
        return list(place.dtype.names or ())
    hard = [key for key in place if isinstance(place.get(key, getlink=True), h5py.HardLink)]
    groups = {key for key in hard if place.get(key, getclass=True) is not h5py.Dataset}
    return [key for key in place if key not in groups]


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    try:
        import h5py
    except ImportError as error:
        raise InputError(NOT_INSTALLED) from error
    with plain_file(path) as plain:
        try:
            with h5py.File(plain, "r", locking=False) as file:
                yield file
        except (InputError, GeneratorExit):
            raise
        except Exception as error:  # a broken file fails in the library in any way
            text = " ".join(str(error).split())[:120]
            raise InputError(f"cannot be read as HDF5 ({type(error).__name__}: {text})") from error
