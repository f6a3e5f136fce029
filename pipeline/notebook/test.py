"""A test as it lies in the archive: its card, what was read of its recordings, and their samples."""

from __future__ import annotations

import shutil
import tempfile
import weakref
from collections.abc import Collection
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

import polars as pl

from pipeline.archive.card import Card, load_card
from pipeline.archive.scan import holds_card
from pipeline.constants import RPM, ZERO_C
from pipeline.errors import InputError
from pipeline.notebook.faults import named, told
from pipeline.recordings import canonical
from pipeline.recordings.kept import Kept
from pipeline.recordings.stage import read_recordings
from pipeline.results import scan_table
from pipeline.results.findings import Found
from pipeline.results.model import as_read
from pipeline.results.record import Record
from pipeline.wording import counted

#: dimension -> unit at the end of a column's name, factor and offset from SI
EDGES = {
    "duration": ("s", 1.0, 0.0),
    "angular_speed": ("rpm", RPM, 0.0),
    "torque": ("nm", 1.0, 0.0),
    "pressure": ("bar", 1e-5, 0.0),
    "temperature": ("c", 1.0, -ZERO_C),
    "linear_speed": ("mps", 1.0, 0.0),
    "length": ("mm", 1e3, 0.0),
}
FOUND = ("code", "severity", "stop", "file", "channel", "start_s", "end_s", "message", "action")


@dataclass(frozen=True, eq=False, repr=False)
class Test:
    """A test read from its folder by `read_test`; what it holds is not changed by anything done with it.

    folder: the test's folder; card: test.yaml in SI; record: what was read of each recording, with findings; channels:
    a temporary Parquet file of all samples in SI, gone when the test is; whole: whether all recordings were read.
    """

    __test__ = False  # not a test class, whatever its name says to a test collector

    folder: Path
    card: Card
    record: Record
    channels: Path
    whole: bool = True

    def __repr__(self) -> str:
        card, read = self.card, counted(len(self.record.recordings), "recording")
        who = f"{card.compound}, batch {card.batch}, specimen {card.specimen}, {card.date}"
        return f"<test {self.name}: {who}; {read}{'' if self.whole else ' of it read'}>"

    @property
    def name(self) -> str:
        """The test's id: the name of its folder."""
        return self.folder.name

    @property
    def recordings(self) -> pl.DataFrame:
        """One row a recording, in the order run: recording (number from 1), file, rows, first_time and last_time (s), and
        why one is left out: duplicate_of (another's samples), error (cannot be read)."""
        columns = ("recording", "file", "rows", "first_time", "last_time", "duplicate_of", "error")
        rows = [{name: getattr(one, name) for name in columns} for one in self.record.recordings]
        types = {"recording": pl.Int64, "rows": pl.Int64, "first_time": pl.Float64, "last_time": pl.Float64}
        return pl.DataFrame(rows, schema={name: types.get(name, pl.String()) for name in columns})

    @property
    def findings(self) -> pl.DataFrame:
        """What was found wrong with the recordings; columns as of `reduce(...).findings`."""
        return finding_frame(self.record.findings)

    def samples(self, recording: int | str) -> pl.DataFrame:
        """Samples of one recording as recorded, by its number or file: (n,) columns time_s, speed_rpm, torque_nm,
        pressure_bar, disc_temperature_c and the card's further channels, temperatures ending in _c, pressures in _bar,
        lengths in _mm; a channel of another kind keeps its name and SI. What was left out as damaged is null. Of a test of
        which only reduced rows were kept these rows, in the columns of the stops table.

        Raises InputError for a recording that was not read.
        """
        names = {
            one.recording: {one.recording, one.file, one.file.rsplit("/", 1)[-1]} for one in self.record.recordings
        }
        number = next((number for number, known in names.items() if recording in known), None)
        if number is None:
            there = ", ".join(f"{one.recording} {one.file}" for one in self.record.recordings[:3])
            raise InputError(f"{self.name}: no recording {recording!r} was read; there are {there}, ...")
        frame = scan_table(self.channels).filter(pl.col("recording") == number).drop("recording").collect()
        if self.card.recordings.holds == "summary":
            return frame
        kinds = canonical.conversions(self.card.recordings.channels, self.card.rolling_radius)
        return frame.select(at_the_edge(name, kinds.get(name, (1.0, 0.0, None))[2]) for name in frame.columns)


def at_the_edge(name: str, kind: str | None) -> pl.Expr:
    """A channel of a kind of quantity in the unit that stands at the end of its name."""
    if name == "time":
        kind = "duration"
    if kind not in EDGES:
        return pl.col(name)
    unit, factor, offset = EDGES[kind]
    return (pl.col(name) * factor + offset).alias(f"{name}_{unit}")


def read_test(folder: str | PathLike[str], *, only: Collection[int | str] = ()) -> Test:
    """Read a test: its card and its recordings, as the stage `channels` does.

    folder: the test's, with its test.yaml. only: numbers (from 1, in the order run) or file names of the recordings to
    read, all of them when it is empty; what is reduced then rests on these alone (see `reduce`).

    Recordings are read in this process: the limits of time and memory that a run sets are not. Raises InputError where
    the card cannot be used or nothing can be read; a recording that cannot be read keeps its row in `recordings`.
    """
    return read_on(folder, only=only)


def read_on(folder: str | PathLike[str], *, only: Collection[int | str] = (), kept: Kept | None = None) -> Test:
    """`read_test`, with what is kept of recordings that were read before."""
    place = Path(folder)
    if not place.is_dir():
        raise InputError(f"{place}: no such folder; give the folder of a test, with its test.yaml")
    if not holds_card(place):
        raise InputError(f"{place}: holds no test.yaml; give the folder of one test, not of an archive")
    only = (only,) if isinstance(only, int | str) else only
    with told(place):
        place = place.resolve()
        room = Path(tempfile.mkdtemp(prefix="stopsheet-"))
        try:
            with named(place.name):
                card, channels = load_card(place), room / "channels.parquet"
                record = as_read(read_recordings(place, channels, only=only, kept=kept))
                if record.unusable is not None:
                    raise InputError(record.unusable)
        except BaseException:
            shutil.rmtree(room, ignore_errors=True)
            raise
    test = Test(place, card, record, channels, whole=not only)
    weakref.finalize(test, shutil.rmtree, room, ignore_errors=True)
    return test


def finding_frame(found: Collection[Found]) -> pl.DataFrame:
    """One row a finding, without its evidence."""
    schema = {name: pl.String() for name in FOUND}
    schema |= {"stop": pl.Int64(), "start_s": pl.Float64(), "end_s": pl.Float64()}  # type: ignore[dict-item]
    return pl.DataFrame([{name: getattr(one, name) for name in FOUND} for one in found], schema=schema)
