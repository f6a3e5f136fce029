"""Channels that each have a time base of their own, brought onto torque's, window by window.

Formats that store channels apart (MDF groups, TDMS channels) are read through `Source`s. Channels on
torque's own time base are taken as they are; the others are interpolated (`rates.interpolated`), each read
only as far as the window asks.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.errors import InputError
from pipeline.recordings.chunk import CHUNK_ROWS, Chunk, Damage
from pipeline.recordings.limits import refuse_rows
from pipeline.recordings.rates import REACH, interpolated

PERIOD_SAMPLES = 10_000


class Source(NamedTuple):
    """A stored channel: number of samples, whose time it shares, and read(first, count) -> (time s,
    values), float (n,)."""

    size: int
    base: Hashable
    read: Callable[[int, int], tuple[np.ndarray, np.ndarray]]


@dataclass
class Window:
    """The samples of one channel around the rows that are being made."""

    source: Source
    period: float
    position: int = 0
    time: np.ndarray = field(default_factory=lambda: np.empty(0))
    values: np.ndarray = field(default_factory=lambda: np.empty(0))

    def at(self, times: np.ndarray) -> np.ndarray:
        """Values at rising times; reads on as far as they need, forgets what lies before them."""
        reach = times[-1] + REACH * self.period if np.isfinite(self.period) else times[-1]
        while self.position < self.source.size and (self.time.size == 0 or self.time[-1] <= reach):
            time, values = self.source.read(self.position, CHUNK_ROWS)
            if time.size == 0:
                break
            self.position += time.size
            self.time, self.values = np.r_[self.time, time], np.r_[self.values, values]
        result = interpolated(times, self.time, self.values, self.period)
        past = max(int(np.searchsorted(self.time, times[-1] - REACH * self.period)) - 1, 0)
        self.time, self.values = self.time[past:], self.values[past:]
        return result


def base_of(needed: Sequence[str]) -> str:
    """The channel whose samples give the rows: torque, where it is among the needed ones, else the first."""
    return "torque" if "torque" in needed else needed[0]


def merged(
    sources: dict[str, Source], units: dict[str, str], *, rows: int = CHUNK_ROWS, base: str = "torque"
) -> Iterator[Chunk]:
    """Chunks with one row per sample of torque (`base`). `time` among the sources replaces the time base's own time.

    Raises InputError when it has no samples, and after the last chunk when it has fewer than its file promises.
    """
    torque = sources[base]
    if torque.size == 0:
        raise InputError(f"channel {base} has no samples")
    refuse_rows(max(source.size for source in sources.values()))
    windows = {name: Window(s, _period(s)) for name, s in sources.items() if s.base != torque.base and s.size}
    early = ""
    for first in range(0, torque.size, rows):
        time, values = torque.read(first, rows)
        if time.size < min(rows, torque.size - first):
            early = f"ends early: {first + time.size} of {torque.size} samples of {base} are there"
        if time.size == 0:
            break
        columns, damage = {"time": time, base: values}, []
        for name, source in sources.items():
            if name != base and source.base == torque.base:
                columns[name] = source.read(first, rows)[1]
        for name, channel in columns.items():
            damage += _damage(name, channel)
        rising = np.isfinite(time)
        for name, window in windows.items():
            at = np.full(time.shape, np.nan)
            at[rising] = window.at(time[rising]) if rising.any() else np.nan
            columns[name] = at
        frame = pl.DataFrame({name: np.where(np.isinf(v), np.nan, v) for name, v in columns.items()})
        yield Chunk(frame.filter(pl.col("time").is_not_nan()), damage, units)
    if early:
        raise InputError(early)


def _period(source: Source) -> float:
    time, _ = source.read(0, PERIOD_SAMPLES)
    steps = np.diff(time)
    steps = steps[steps > 0]
    return float(np.median(steps)) if steps.size else np.inf


def _damage(name: str, values: np.ndarray) -> list[Damage]:
    infinite, missing = int(np.isinf(values).sum()), int(np.isnan(values).sum())
    notes = []
    if infinite:
        notes.append(Damage("number", name, infinite, None, "inf"))
    if missing:
        notes.append(Damage("absent", name, missing, None, "NaN"))
    return notes
