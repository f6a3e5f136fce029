"""What the rig's calibrations found, taken off before anything else is done: true = (reading - zero) / gain.

A reading that is off by a known factor is off everywhere: in thresholds, lag, balance and mu. So the channels are
corrected as a whole, into a file that lives as long as the reduction, and everything after reads that one. What is read
at rest is taken off later all the same, so a corrected zero moves only what has no reading at rest.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.archive.rigs import Calibration
from pipeline.conditioning.channels_file import frames

CHANNELS = ("torque", "pressure")


def gain_and_zero_of(calibrations: Sequence[Calibration], channel: str) -> tuple[float, float]:
    """Gain (1) and zero (SI) of a channel; 1 and 0 where no calibration states them."""
    value: dict[str, float] = {one.quantity: one.value for one in calibrations}
    return value.get(f"{channel}_gain", 1.0), value.get(f"{channel}_zero", 0.0)


def true_values(readings: np.ndarray, calibrations: Sequence[Calibration], channel: str) -> np.ndarray:
    """True values of a channel's readings (n,), SI."""
    gain, zero = gain_and_zero_of(calibrations, channel)
    return (readings - zero) / gain


def true_scales(scales: Mapping[str, float], calibrations: Sequence[Calibration]) -> dict[str, float]:
    """Full scales as the corrected channels reach them, SI."""
    return {name: float(true_values(np.array(scale), calibrations, name)) for name, scale in scales.items()}


@contextmanager
def corrected(channels: Path, calibrations: Sequence[Calibration], into: Path) -> Iterator[Path]:
    """The channels file with torque and pressure corrected; the file itself where there is nothing to correct.

    The corrected file stands in the folder `into` until the block ends.
    """
    if not calibrations:
        yield channels
        return
    into.mkdir(parents=True, exist_ok=True)
    part = into / f"channels.{os.getpid()}.part"
    try:
        _write(channels, calibrations, part)
        yield part
    finally:
        part.unlink(missing_ok=True)


def _write(channels: Path, calibrations: Sequence[Calibration], part: Path) -> None:
    import pyarrow.parquet as pq

    with pq.ParquetFile(channels) as file, pq.ParquetWriter(part, file.schema_arrow, compression="zstd") as writer:
        for table in frames(file):
            true = [
                pl.Series(name, true_values(table[name].cast(pl.Float64).to_numpy(), calibrations, name))
                for name in CHANNELS
                if name in table.columns
            ]
            writer.write_table(table.with_columns(true).to_arrow().cast(file.schema_arrow))
