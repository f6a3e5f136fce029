"""Parquet recordings: columns of numbers, or of text that holds numbers; time also as a timestamp or a
duration."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.archive.card import REQUIRED_CHANNELS
from pipeline.archive.written import Written
from pipeline.errors import InputError
from pipeline.inputs.quantities import scale_offset
from pipeline.recordings.chunk import CHUNK_ROWS, Chunk, ClockKind, Damage
from pipeline.recordings.columns import positions, units_in
from pipeline.recordings.files import plain_file
from pipeline.recordings.limits import refuse_rows
from pipeline.recordings.numbers import damage_of, numbers
from pipeline.recordings.timestamps import parsed


def read(path: Path, recordings: Written, *, needed: Sequence[str] = REQUIRED_CHANNELS) -> Iterator[Chunk]:
    """Chunks of the recording. Raises InputError when it is not what the card says."""
    units: dict[str, str] = {}
    clock: ClockKind | None = None
    for frame in rows(path, recordings, needed=("time", *needed), units=units):
        damage: list[Damage] = []
        columns = []
        for name in frame.columns:
            if name == "time" and recordings.timestamps:
                values, bad, clock = _stamps(frame[name], clock, recordings)
                notes = damage_of(name, frame[name], values, bad, None)
            else:
                values, notes = _floats(name, frame[name], recordings)
            columns.append(values.alias(name))
            damage += notes
        yield Chunk(pl.DataFrame(columns), damage, units, clock)


def rows(
    path: Path, recordings: Written, *, needed: tuple[str, ...], units: dict[str, str] | None = None
) -> Iterator[pl.DataFrame]:
    """The mapped columns as stored, under canonical names, row group by row group.

    units: takes what the columns' own metadata say of their units (key `unit` or `units`).
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    with plain_file(path) as plain:
        try:
            with pq.ParquetFile(plain, memory_map=False, pre_buffer=False) as file:
                refuse_rows(file.metadata.num_rows)
                columns = positions(file.schema_arrow.names, recordings.channels, needed=needed)
                wanted = {name: file.schema_arrow.names[at] for name, at in columns.items()}
                if units is not None:
                    units |= units_in(file.schema_arrow.names, columns) | _units(file.schema_arrow, columns)
                empty = True
                for batch in file.iter_batches(batch_size=CHUNK_ROWS, columns=list(dict.fromkeys(wanted.values()))):
                    table = pl.DataFrame(pl.from_arrow(pa.Table.from_batches([batch])))
                    empty = False
                    yield table.select(pl.col(column).alias(name) for name, column in wanted.items())
                if empty:
                    raise InputError("has no rows")
        except (pa.ArrowException, OSError) as error:
            raise InputError(f"cannot be read as Parquet ({str(error).splitlines()[0][:120]})") from error


def _units(schema: Any, columns: dict[str, int]) -> dict[str, str]:
    """Units by canonical name from the columns' metadata; a timestamp carries its own."""
    import pyarrow.types as pa_types

    found = {}
    for name, at in columns.items():
        metadata = schema.field(at).metadata or {}
        unit = metadata.get(b"unit") or metadata.get(b"units")
        if unit and not (name == "time" and pa_types.is_temporal(schema.field(at).type)):
            found[name] = unit.decode("utf-8", "replace")
    return found


def _stamps(
    column: pl.Series, clock: ClockKind | None, recordings: Written
) -> tuple[pl.Series, pl.Series, ClockKind | None]:
    """Timestamps in microseconds, which of them are none, and their kind: of dates and times, or text that holds them."""
    sound = pl.Series([False]).new_from_index(0, column.len())
    if isinstance(column.dtype, pl.Datetime):
        kind: ClockKind = "zoned" if column.dtype.time_zone else "local"
        return column.dt.timestamp("us").cast(pl.Float64), sound, kind
    if column.dtype == pl.Time:
        return column.cast(pl.Int64).cast(pl.Float64) / 1e3, sound, "time of day"
    if column.dtype in (pl.String, pl.Categorical):
        return parsed(column, clock, recordings.dates)
    name = recordings.channels["time"].column
    raise InputError(
        f"column {name!r} (time) holds {column.dtype}, no timestamps; give its unit in test.yaml, such as s"
    )


def _floats(name: str, column: pl.Series, recordings: Written) -> tuple[pl.Series, list[Damage]]:
    """The column in the unit that the card states, and what is damaged in it."""
    if column.dtype.is_temporal() and name == "time":
        factor, _ = scale_offset(recordings.channels[name].unit, "duration")
        if column.dtype == pl.Duration:
            return column.dt.total_nanoseconds().cast(pl.Float64) / 1e9 / factor, []
        if isinstance(column.dtype, pl.Datetime):
            return column.dt.timestamp("us").cast(pl.Float64) / 1e6 / factor, []
    if column.dtype.is_numeric():
        values = column.cast(pl.Float64)
        bad = values.is_infinite().fill_null(False)
        values = values.set(bad, float("nan"))
    elif column.dtype in (pl.String, pl.Categorical):
        values, bad = numbers(column.cast(pl.String), recordings.decimal)
    else:
        raise InputError(f"column {recordings.channels[name].column!r} ({name}) holds {column.dtype}, not numbers")
    return values, damage_of(name, column, values, bad, None)
