"""The channels file read stretch by stretch, in bounded memory.

A stretch is a whole recording, or, of a recording too long to hold, a piece that ends shortly before a brake start, so
that no application and none of its zero windows is ever split. Rows are counted within the recording.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.conditioning.channels_file import BATCH_ROWS, ChannelsFile
from pipeline.conditioning.segments import brakings
from pipeline.conditioning.time_base import row_at
from pipeline.method.segmentation import Segmentation

LONGEST_ROWS = 1_500_000  # of a stretch; six channels and their copies stay far below 1 GB
LEAD_S = 3.0  # kept before a brake start at which a long recording is cut
QUIET_S = 60.0  # after this long at rest a long recording may be cut without a brake start


@dataclass(frozen=True)
class Stretch:
    """Consecutive samples of one recording. channels: name -> (n,) array, SI; row: of the first sample."""

    recording: int
    row: int
    channels: dict[str, np.ndarray]

    @property
    def size(self) -> int:
        return self.channels["time"].size

    @property
    def bytes(self) -> int:
        return sum(values.nbytes for values in self.channels.values())


def stretches(
    file: ChannelsFile,
    columns: list[str],
    settings: Segmentation,
    *,
    longest: int = LONGEST_ROWS,
    batch: int = BATCH_ROWS,
) -> Iterator[Stretch]:
    """The channels file as stretches, in order. Columns that it does not have are left out.

    The cuts depend on the samples and settings alone: reading twice gives the same stretches.
    """
    present = [name for name in columns if name in file.names]
    pending: list[dict[str, np.ndarray]] = []
    recording, row, waiting = -1, 0, 0
    for table in file.parts(["recording", *present], batch):
        arrays = {name: _floats(table[name]) for name in present}
        for number, rows in recordings_in(table["recording"].to_numpy()):
            if number != recording:
                if pending:
                    yield Stretch(recording, row, _joined(pending))
                pending, recording, row, waiting = [], number, 0, 0
            pending.append({name: _lasting(values[rows]) for name, values in arrays.items()})
            waiting += rows.stop - rows.start
            if waiting > longest:
                held = _joined(pending)
                cut = _cut(held, settings)
                if cut:
                    yield Stretch(recording, row, {name: v[:cut] for name, v in held.items()})
                    row += cut
                    held = {name: _lasting(v[cut:].copy()) for name, v in held.items()}
                pending, waiting = [held], held["time"].size
    if pending:
        yield Stretch(recording, row, _joined(pending))


def recordings_in(numbers: np.ndarray) -> Iterator[tuple[int, slice]]:
    """The number of each recording and its rows, where consecutive rows (n,) are of the recordings `numbers`."""
    edges = [0, *((numbers[1:] != numbers[:-1]).nonzero()[0] + 1).tolist(), numbers.size]
    for first, last in itertools.pairwise(edges):
        if last > first:
            yield int(numbers[first]), slice(first, last)


def _floats(column: pl.Series) -> np.ndarray:
    values = column.cast(pl.Float64).to_numpy()
    finite = np.isfinite(values)
    return values if finite.all() else np.where(finite, values, np.nan)


def _lasting(values: np.ndarray) -> np.ndarray:
    """The array, read-only: nobody may change what all look at, and what is known of it can be kept."""
    values.setflags(write=False)
    return values


def _joined(parts: list[dict[str, np.ndarray]]) -> dict[str, np.ndarray]:
    if len(parts) == 1:
        return parts[0]
    return {name: _lasting(np.concatenate([part[name] for part in parts])) for name in parts[0]}


def _cut(held: dict[str, np.ndarray], settings: Segmentation) -> int:
    """Row at which a recording may be cut: shortly before its last brake start; 0 where there is no such place yet."""
    found = brakings(held["time"], held["speed"], held["pressure"], settings)
    time = held["time"]
    if not found:
        return row_at(time, time[-1] - LEAD_S, 0, time.size)
    last = found[-1]
    if last.stop < time.size and time[-1] - time[last.stop - 1] > QUIET_S:
        return row_at(time, time[-1] - LEAD_S, 0, time.size)
    before = found[-2].stop if len(found) > 1 else 0
    cut = max(row_at(time, time[last.start] - LEAD_S, 0, time.size), before)
    return cut if before or cut > time.size // 2 else 0
