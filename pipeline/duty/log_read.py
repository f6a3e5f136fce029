"""The log of a duty -> time, speed and what else it holds, in SI; or why it cannot be used, in one line.

Read by the readers of recordings, with their limits. A log is cut only where its speed is whole: where time goes back or
the speed is missing while the vehicle moves, nobody can tell what happened, and the log is refused.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from pipeline import faults
from pipeline.archive.duties import Log, log_path
from pipeline.archive.written import Channel
from pipeline.constants import Array
from pipeline.errors import InputError
from pipeline.recordings import canonical, damage, files
from pipeline.recordings.chunk import Damage
from pipeline.recordings.places import Place, reader
from pipeline.recordings.rates import on_torque_time
from pipeline.recordings.timestamps import Clock

MOST_ROWS = 5_000_000  # 14 hours at 100 Hz
LONGEST_STEP = 0.2  # s between samples: brake times are wanted to a tenth of a second
LONGEST_GAP = 1.0  # s without a speed while the vehicle moves
STANDING = 1.0 / 3.6  # m/s
FASTEST = 140.0  # m/s: beyond any road vehicle (common practice), a wrong unit
LEAST_ROWS = 20


@dataclass(frozen=True)
class LogData:
    """A log in SI, arrays [n]: time from its first sample, rising; speed of the vehicle m/s, without holes. The others may
    have NaN; None where the log has no such channel. Temperatures in K."""

    time: Array
    speed: Array
    deceleration: Array | None = None
    pressure: Array | None = None
    disc_temperature: Array | None = None
    ambient: Array | None = None

    @property
    def distance(self) -> float:
        """Length of the whole log in m."""
        return float(np.trapezoid(self.speed, self.time))


def read_log(path: Path, log: Log, radius: float) -> LogData:
    """A log of the duty whose file is `path`; radius: of the wheel, m. Raises InputError naming both files and what to do."""
    place = log_path(path, log)
    try:
        files.refuse_outside(place, path.parent)
        return _checked(_table(place, log, radius))
    except InputError as error:
        faults.refuse(error, place)
        raise InputError(f"{path.name}: log {log.file}: {error}") from error


def _table(place: Path, log: Log, radius: float) -> pl.DataFrame:
    """All rows, SI, the speed linear. Raises InputError."""
    units = {name: (*log.conversion(name), log.kind(name)) for name in log.channels}
    columns = list(dict.fromkeys(["time", "speed", *log.channels]))
    notes: list[Damage] = []
    parts: list[pl.DataFrame] = []
    said: dict[str, str] = {}
    rows = 0
    chunks = Clock().seconds(1, reader(log.format)(Place(place), log, needed=("speed",)))
    for chunk in on_torque_time(chunks, base="speed"):
        rows += chunk.rows.height
        if rows > MOST_ROWS:
            raise InputError(f"holds more than {MOST_ROWS:,} rows; thin it out to 100 Hz, or divide it")
        converted = canonical.in_si(chunk, columns, units)
        notes += converted.damage
        said |= chunk.units
        parts.append(converted.rows)
    damage.refuse_wreck(damage.summed(notes), rows)
    _refuse_units(log.channels, said)
    if not parts:
        raise InputError("has no samples")
    table = pl.concat(parts)
    return table.with_columns(pl.col("speed") * radius) if log.angular() else table


def _refuse_units(channels: dict[str, Channel], said: dict[str, str]) -> None:
    """InputError where the log itself names another unit than the duty's file: a speed in miles for one in kilometres would
    make every energy wrong by a factor."""
    for name, text in said.items():
        if name == "deceleration" and text.strip("[]() ") == channels[name].unit:
            continue  # both in g, which elsewhere is a mass
        if canonical.disagreeing_units({name: text}, channels):
            raise InputError(
                f"{name}: the log says {text!r}, the duty's file {channels[name].unit!r}; correct the one that is wrong"
            )


def _checked(table: pl.DataFrame) -> LogData:
    """The log with its faults refused and equal times counted once."""
    if table.height < LEAST_ROWS:
        raise InputError(f"has {table.height} usable rows; a log needs {LEAST_ROWS} or more")
    time = table["time"].to_numpy().astype(float)
    back = np.flatnonzero(np.diff(time) < 0)
    if back.size:
        row = int(back[0]) + 2
        raise InputError(
            f"time goes back from {time[row - 2]:.3f} to {time[row - 1]:.3f} s at its sample {row}; export one drive with a "
            "clock that runs through"
        )
    table = table.filter(pl.Series(np.r_[True, np.diff(time) > 0]))
    columns = {
        name: table[name].to_numpy().astype(float)
        for name in table.columns
        if name in ("time", "speed") or table[name].is_not_null().any()
    }
    known = np.isfinite(columns["speed"])
    if known.sum() < LEAST_ROWS:
        raise InputError(f"speed: {known.sum()} usable values; check the column and its unit")
    first, last = (int(i) for i in (np.flatnonzero(known)[0], np.flatnonzero(known)[-1]))
    columns = {name: values[first : last + 1] for name, values in columns.items()}
    known = known[first : last + 1]
    time = columns["time"] - columns["time"][0]
    _refuse_gaps(time[known], columns["speed"][known])
    speed = np.interp(time, time[known], columns["speed"][known])
    if speed.max() > FASTEST:
        raise InputError(f"speed reaches {speed.max() * 3.6:.0f} km/h; check its unit and the rolling radius")
    return LogData(
        time,
        speed,
        columns.get("deceleration"),
        columns.get("pressure"),
        columns.get("disc_temperature"),
        columns.get("ambient_temperature"),
    )


def _refuse_gaps(time: Array, speed: Array) -> None:
    """InputError where the speed is missing while the vehicle moves, or comes too rarely altogether."""
    step = np.diff(time)
    usual = float(np.median(step))
    if usual > LONGEST_STEP * (1 + 1e-6):
        raise InputError(
            f"its speed comes every {usual:.2g} s; brake times need {LONGEST_STEP:g} s or less: log at 10 Hz or more"
        )
    moves = speed > STANDING
    # by two samples of a side: one alone is the sensor's noise on a vehicle that stands
    before, after = moves[:-1] & np.r_[moves[0], moves[:-2]], moves[1:] & np.r_[moves[2:], moves[-1]]
    moving = before | after
    gaps = np.flatnonzero((step > max(LONGEST_GAP, 5 * usual)) & moving)
    if gaps.size:
        at = int(gaps[0])
        more = f" and {gaps.size - 1} more such gaps" if gaps.size > 1 else ""
        raise InputError(
            f"no speed from {time[at]:.1f} to {time[at + 1]:.1f} s{more} while the vehicle moves: what it did there is not "
            "known; take a stretch without a gap"
        )
