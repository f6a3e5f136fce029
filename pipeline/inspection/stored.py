"""Recordings that name their channels themselves (Parquet, HDF5, XLSX, MDF, TDMS) -> the same table as a text gives.

Each is listed for what it holds and then read by the reader that a run uses, with every channel mapped: what that reader
refuses, a look refuses in the same words.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import polars as pl

from pipeline.archive.written import Channel, Written
from pipeline.errors import InputError
from pipeline.inspection.rows import head_of
from pipeline.inspection.tables import MOST_COLUMNS, MOST_ROWS, Stamps, Table, as_table, named, stamps
from pipeline.recordings.chunk import Chunk

MOST_PARTS = 1000  # sheets, groups or tables looked at


def stored_tables(path: Path, form: str) -> list[Table]:
    """The table of a file of that format, or those of its sheets, groups or tables. Raises InputError where its reader does, or its
    library is not installed."""
    if form in ("hdf5", "xlsx"):
        return _hdf5(path) if form == "hdf5" else _xlsx(path)
    return [{"parquet": _parquet, "mdf": _mdf, "tdms": _tdms}[form](path)]


def _written(form: str, names: list[str]) -> Written:
    channels = {f"c{at}": Channel(column=name, unit="") for at, name in enumerate(names[:MOST_COLUMNS])}
    return Written.model_construct(
        format=form,  # type: ignore[arg-type]
        channels=channels,
        decimal=".",
        units_row="auto",
    )


def _parquet(path: Path) -> Table:
    import pyarrow.parquet as pq

    from pipeline.recordings import parquet
    from pipeline.recordings.files import plain_file

    with plain_file(path) as plain:
        try:
            with pq.ParquetFile(plain, memory_map=False) as file:
                names, rows = list(file.schema_arrow.names), file.metadata.num_rows
        except Exception as error:  # a broken file fails in the library in any way
            raise InputError(f"cannot be read as Parquet ({str(error).splitlines()[0][:120]})") from error
    names = [name for name, times in Counter(names).items() if times == 1][:MOST_COLUMNS]
    every = max(-(-rows // MOST_ROWS), 1)
    units: dict[str, str] = {}
    frames = [f.gather_every(every) for f in parquet.rows(path, _written("parquet", names), needed=(), units=units)]
    cells = pl.concat(frames, how="vertical_relaxed")
    return _as_stored("parquet", names, [units.get(f"c{at}", "") for at in range(len(names))], cells, rows, every)


def _as_stored(form: str, names: list[str], units: list[str], cells: pl.DataFrame, rows: int, every: int) -> Table:
    """Columns as they are kept: numbers, texts of numbers, dates and times."""
    series, stamp, found = [], None, Stamps(pl.Series())
    for at, name in enumerate(cells.columns):
        column, dates, doubt, begins = cells[name], "iso", "", ""
        if isinstance(column.dtype, pl.Datetime):
            us = column.dt.timestamp("us")
            values, kind = (us - us.min()) / 1e6, ("zoned" if column.dtype.time_zone else "local")
        elif column.dtype == pl.Time:
            values, kind = column.cast(pl.Int64) / 1e9, "time of day"
        elif column.dtype == pl.Duration:
            values, kind = column.dt.total_nanoseconds() / 1e9, None
        elif column.dtype.is_numeric():
            values, kind = column.cast(pl.Float64), None
        else:
            text = (
                column.cast(pl.String, strict=False)
                if not column.dtype.is_nested()
                else pl.Series([None] * column.len(), dtype=pl.String)
            )
            values, kind, dates, doubt, begins = stamps(text, text.cast(pl.Float64, strict=False))
        if kind is not None and stamp is None:
            begins = begins or str(column.drop_nulls().head(1).to_list()[0])
            stamp, found = at, Stamps(values, kind, dates, doubt, begins)  # type: ignore[arg-type]
        series.append(values.cast(pl.Float64, strict=False).fill_null(float("nan")).alias(str(at)))
    return Table(
        form, named(names, units), pl.DataFrame(series), rows, every, found.kind or "number", found.dates, found.doubt, found.begins, stamp
    )  # fmt: skip


def _hdf5(path: Path) -> list[Table]:
    from pipeline.recordings import hdf5

    held = [(part, columns) for part, columns in hdf5.listed(path) if columns]
    if not held:
        raise InputError("holds no row of numbers: no dataset or table with channels")
    parts = [part for part, _ in held]
    return [_hdf5_part(path, part, columns, parts) for part, columns in held[:MOST_PARTS]]


def _hdf5_part(path: Path, part: str, columns: list[tuple[str, int]], parts: list[str]) -> Table:
    from pipeline.recordings import hdf5

    size = Counter(rows for _, rows in columns).most_common(1)[0][0]
    names = [name for name, rows in columns if rows == size][:MOST_COLUMNS]
    table = _read(hdf5.read(path, _written("hdf5", names), part or None, needed=()), "hdf5", names, size)
    left = [name for name, rows in columns if rows != size]
    notes = [f"{', '.join(left[:6])}: of another length, not looked at"] if left else []
    return _with(table, part=part or None, parts=parts, notes=notes)


def _xlsx(path: Path) -> list[Table]:
    from pipeline.recordings import xlsx

    sheets = xlsx.parts(path, "*")
    whys: list[str] = []
    tables = [table for sheet in sheets[:MOST_PARTS] if (table := _sheet(path, sheet, sheets, whys)) is not None]
    if not tables:
        raise InputError(f"no sheet holds a table of samples: {'; '.join(whys)[:300]}")
    return tables


def _sheet(path: Path, sheet: str, sheets: list[str], whys: list[str]) -> Table | None:
    from pipeline.recordings import xlsx

    cells = xlsx.table(path, sheet)
    rows = [[cell or "" for cell in row] for row in cells.head(400).rows()]
    head = head_of(rows)
    if head is None or head.header is None:
        whys.append(f"{sheet!r}: no header row over rows of numbers")
        return None
    body = cells[head.data :]
    every = max(-(-body.height // MOST_ROWS), 1)
    names = [name.strip() or f"column {at + 1}" for at, name in enumerate(rows[head.header])]
    units = [u.strip().strip("[](){}<> ") for u in rows[head.units]] if head.units is not None else [""] * len(names)
    table = as_table("xlsx", names, units, body.gather_every(every), ".", body.height, every)
    notes = [f"the header stands in row {head.header + 1}"] if head.header else []
    return _with(table, part=sheet, parts=sheets, notes=notes, skip=head.header)


def _mdf(path: Path) -> Table:
    from pipeline.recordings import mdf

    columns = mdf.listed(path)
    if not columns:
        raise InputError("holds no channel with samples")
    base = max(range(len(columns)), key=lambda at: columns[at][1])
    columns.insert(0, columns.pop(base))
    names = [name for name, _ in columns][:MOST_COLUMNS]
    return _read(mdf.read(path, _written("mdf", names), needed=("c0",)), "mdf", names, columns[0][1])


def _tdms(path: Path) -> Table:
    from pipeline.recordings import tdms

    columns, waveform = tdms.listed(path)
    if not columns:
        raise InputError("holds no channel with samples")
    base = max(range(len(columns)), key=lambda at: columns[at][1])
    size = columns[base][1]
    if waveform:
        columns.insert(0, columns.pop(base))
        names = [name for name, _ in columns][:MOST_COLUMNS]
        return _read(tdms.read(path, _written("tdms", names), needed=("c0",)), "tdms", names, size)
    names = [name for name, rows in columns if rows == size][:MOST_COLUMNS]
    values, units, stamp = tdms.plain(path, names, max(-(-size // MOST_ROWS), 1))
    frame = pl.DataFrame({str(at): column for at, column in enumerate(values)})
    table = Table(
        "tdms",
        named(names, units),
        frame,
        size,
        max(-(-size // MOST_ROWS), 1),
        "zoned" if stamp is not None else "number",
        stamp=stamp,
    )
    left = [name for name, rows in columns if rows != size]
    return _with(table, notes=[f"{', '.join(left[:6])}: of another length, not looked at"] if left else [])


def _read(chunks: Iterator[Chunk], form: str, names: list[str], size: int) -> Table:
    """The table of a reader's chunks; the file's own time, where the reader gives one, is the first column."""
    every, frames, at = max(-(-size // MOST_ROWS), 1), [], 0
    units: dict[str, str] = {}
    for chunk in chunks:
        frames.append(chunk.rows.gather_every(every, (-at) % every))
        at += chunk.rows.height
        units |= chunk.units
    if not frames:
        raise InputError("has no samples")
    rows = pl.concat(frames, how="diagonal")
    there = [name for name in rows.columns if name != "time"]
    labels = [names[int(name[1:])] for name in there]
    said = [units.get(name, "") for name in there]
    master = "time" in rows.columns
    kept = rows.select((["time"] if master else []) + there)
    kept = kept.rename({name: str(place) for place, name in enumerate(kept.columns)}).fill_null(float("nan"))
    columns = named((["time"] if master else []) + labels, (["s"] if master else []) + said)
    return Table(form, columns, kept, at, every, master=master)


def _with(
    table: Table,
    *,
    part: str | None = None,
    parts: list[str] | None = None,
    notes: list[str] | None = None,
    skip: int = 0,
) -> Table:
    from dataclasses import replace

    return replace(table, part=part, parts=parts or [], notes=[*table.notes, *(notes or [])], skip_rows=skip)
