"""A reader's chunk -> canonical channels: SI, speed absolute, what no sensor can mean left out.

Every value left out is counted as damage; nothing is repaired here.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np
import polars as pl

from pipeline.archive.card import CHANNELS, REQUIRED_CHANNELS
from pipeline.archive.written import TIMESTAMP, Channel
from pipeline.errors import InputError
from pipeline.inputs.quantities import DIMENSIONS, reads_as, scale_offset
from pipeline.recordings.chunk import Chunk, Damage
from pipeline.recordings.columns import OPEN_SPEEDS, TURNS

FIRST = ("time", *REQUIRED_CHANNELS)
TAKEN = ("recording",)

# Beyond any rig, SI: a value outside is a broken record, not a measurement. Absolute zero bounds
# temperatures.
POSSIBLE = {
    "duration": (-1e12, 1e12),
    "angular_speed": (-1e5, 1e5),
    "torque": (-1e7, 1e7),
    "pressure": (-1e8, 1e10),
    "temperature": (0.0, 1e4),
    "linear_speed": (-1e4, 1e4),
    "length": (-1e4, 1e4),
    "share": (-1e3, 1e3),
}


def names(channels: Mapping[str, Channel]) -> list[str]:
    """Canonical columns in their order: the five needed, the others of the card. Raises InputError for a
    name in use."""
    for name in channels:
        if name in TAKEN:
            raise InputError(
                f"recordings.channels.{name}: this name is in use for the recording's number; choose another"
            )
    return [*FIRST, *(name for name in channels if name not in FIRST)]


def dimension(name: str, unit: str) -> str | None:
    """What kind of quantity a channel is: by its name, its name less a number, else by its unit; None to
    keep it as it is."""
    plain = re.sub(r"_\d+$", "", name)
    for known in (name, plain):
        if known == "speed" and reads_as(unit, "linear_speed"):
            return "linear_speed"
        if known in CHANNELS and known != "time":
            return CHANNELS[known]
    if name == "time":
        return "duration"
    candidates = [*(["temperature"] if plain.endswith("_temperature") else []), *DIMENSIONS]
    return next((candidate for candidate in candidates if reads_as(unit, candidate)), None)


def conversions(
    channels: Mapping[str, Channel], rolling_radius: float | None = None
) -> dict[str, tuple[float, float, str | None]]:
    """Canonical name -> factor and offset to SI, and the dimension. Raises InputError for a unit that does not fit.

    A linear speed v becomes the shaft's, v / rolling_radius (m); a force F at a lever arm the torque F x arm.
    """
    result: dict[str, tuple[float, float, str | None]] = {}
    for name, channel in channels.items():
        if name == "time" and channel.unit == TIMESTAMP:
            result[name] = (1.0, 0.0, "duration")  # the clock has made seconds of it
            continue
        kind = dimension(name, channel.unit)
        if kind is None or (not channel.unit and kind != "share"):
            result[name] = (1.0, 0.0, None)
            continue
        try:
            factor, offset = scale_offset(channel.unit, "force" if channel.arm is not None else kind)
        except ValueError as error:
            raise InputError(f"recordings.channels.{name}: {error}") from error
        if kind == "linear_speed" and re.sub(r"_\d+$", "", name) == "speed":
            if rolling_radius is None:
                raise InputError(
                    f"recordings.channels.{name}: {channel.unit!r} is a linear speed and needs rolling_radius"
                )
            factor, kind = factor / rolling_radius, "angular_speed"
        if channel.arm is not None:
            factor *= channel.arm
        result[name] = (factor, offset, kind)
    return result


def in_si(chunk: Chunk, columns: list[str], units: Mapping[str, tuple[float, float, str | None]]) -> Chunk:
    """The chunk's rows in SI with all `columns` in order, null for what is missing or damaged."""
    damage = list(chunk.damage)
    there = [name for name in columns if name in chunk.rows.columns]
    factors, offsets, kinds = zip(*(units.get(name, (1.0, 0.0, None)) for name in there), strict=True)
    bounds = np.array([POSSIBLE.get(kind or "", (-np.inf, np.inf)) for kind in kinds])
    # All channels at once, (channels, rows): a short file costs by the number of calls, not by its samples. Null: NaN.
    order = [chunk.rows.columns.index(name) for name in there]
    values = np.ascontiguousarray(chunk.rows.to_numpy().T[order], dtype=float)
    with np.errstate(over="ignore", invalid="ignore"):
        values *= np.array(factors)[:, None]
        values += np.array(offsets)[:, None]
        least, most = values.min(axis=1, initial=np.inf), values.max(axis=1, initial=-np.inf)
    whole = (least >= bounds[:, 0]) & (most <= bounds[:, 1])  # not with a NaN among the values
    for name, channel, (low, high), clean in zip(there, values, bounds, whole, strict=True):
        if not clean:
            outside = (channel < low) | (channel > high)
            if count := int(np.count_nonzero(outside)):
                damage.append(Damage("range", name, count, None, f"{chunk.rows[name].to_numpy()[outside][0]:g}"))
                channel[outside] = np.nan
        if name == "speed":
            np.abs(channel, out=channel)
    rows = _frame(there, values)
    if not whole.all():
        rows = rows.with_columns(
            pl.col(name).fill_nan(None) for name, clean in zip(there, whole, strict=True) if not clean
        )
    if len(there) < len(columns):
        absent = (pl.lit(None, pl.Float64).alias(name) for name in columns if name not in there)
        rows = rows.with_columns(absent).select(columns)
    return Chunk(rows, damage, chunk.units)


def _frame(names: list[str], values: np.ndarray) -> pl.DataFrame:
    """A frame of Float64 columns over the array's own rows (columns, rows), not copied: by way of Arrow, which takes the array's
    buffer as it is."""
    import pyarrow as pa

    size = values.shape[1]
    columns = [pa.Array.from_buffers(pa.float64(), size, [None, pa.py_buffer(column)]) for column in values]
    return pl.DataFrame(pa.RecordBatch.from_arrays(columns, names=names))


def disagreeing_units(said: Mapping[str, str], channels: Mapping[str, Channel]) -> dict[str, str]:
    """Channels whose own file names another unit than the card, of another size or kind: name -> the file's unit.

    A unit that cannot be read says nothing; neither does 1/s for a speed, which leaves open whether it counts turns or
    radians.
    """
    result = {}
    for name, text in said.items():
        if channels[name].unit == TIMESTAMP:
            continue
        unit = text.strip().strip("[]()").strip()
        kind = "force" if channels[name].arm is not None else dimension(name, channels[name].unit)
        if kind is None or kind == "share" or not unit or (kind == "angular_speed" and unit in OPEN_SPEEDS):
            continue
        try:
            there = scale_offset(TURNS.get(unit, unit) if kind == "angular_speed" else unit, kind)
        except ValueError:
            if any(reads_as(unit, other) for other in DIMENSIONS if other != "share"):
                result[name] = text
            continue
        if not np.allclose(there, scale_offset(channels[name].unit, kind), rtol=1e-6, atol=1e-9):
            result[name] = text
    return result
