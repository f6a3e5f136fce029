"""Any recording -> a table of its columns as numbers, whatever they are called, without a card.

Long recordings are thinned evenly to some 300,000 rows: a look needs no more, and the number of rows that the file has is told
beside. Text is laid out by `sniffing`; every other format is listed and then read by its own reader.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Literal, NamedTuple

import numpy as np
import polars as pl

from pipeline.errors import InputError
from pipeline.inspection.sniffing import HEAD_BYTES, Layout, NoTable, layout_of
from pipeline.recordings import blanks
from pipeline.recordings.columns import split
from pipeline.recordings.encodings import as_utf8, utf16_of
from pipeline.recordings.files import opened
from pipeline.recordings.numbers import numbers_of
from pipeline.recordings.timestamps import WRITTEN, as_iso, parsed

MOST_ROWS = 300_000  # kept of a recording
MOST_BYTES = 256 << 20  # of a text read; what comes after is counted
MOST_COLUMNS = 200
BEYOND = 1e18  # a broken record; microseconds since 1970 are 1.8e15
Clock = Literal["number", "time of day", "local", "zoned"]


@dataclass(frozen=True)
class Column:
    """A column as the file names it: `bare` without the unit behind it, `unit` as the file says it ("" where it does not)."""

    name: str
    bare: str
    unit: str
    place: int = 0


@dataclass(frozen=True)
class Table:
    """values: one Float64 column each of `columns`, in their order, named by number; rows: of the file, before thinning."""

    form: str
    columns: list[Column]
    values: pl.DataFrame
    rows: int
    every: int = 1
    clock: Clock = "number"  # what the times of `stamp` are
    dates: str = (
        "iso"  # how those are written, as a card says it; "" where nothing tells whether day or month comes first
    )
    dates_doubt: str = ""
    begins: str = ""  # the first of those, ISO 8601 where it can be told
    stamp: int | None = None  # place of the column that held dates or times of day; its values are seconds
    layout: Layout | None = None
    part: str | None = None  # sheet or group that was read
    parts: list[str] = field(default_factory=list)  # all that the file has
    notes: list[str] = field(default_factory=list)
    skip_rows: int = 0  # rows before the header of a sheet
    master: bool = False  # the first column is the file's own time, which needs no mapping

    def array(self, place: int) -> np.ndarray:
        """Values of a column (rows kept,), NaN where there is none or one that no sensor gives."""
        values = self.values.to_series(place).to_numpy().astype(float)
        return np.where(np.abs(values) < BEYOND, values, np.nan)

    def beyond(self, place: int) -> int:
        """Values of a column that no sensor gives."""
        return int((self.values.to_series(place).fill_nan(None).abs() >= BEYOND).sum())


def named(names: Sequence[str], units: Sequence[str]) -> list[Column]:
    """Columns with their units: of the units row or the file's own metadata, else those that the names end in."""
    return [
        Column(name, *((split(name)[0], unit) if unit else split(name)), place)
        for place, (name, unit) in enumerate(zip(names, units, strict=True))
    ]


def text_table(path: Path) -> Table:
    """Delimited text. Raises InputError in words where it is none."""
    with opened(path) as stream:
        data, more = _taken(stream)
    layout = layout_of(data[:HEAD_BYTES], whole=len(data) <= HEAD_BYTES)
    if isinstance(layout, NoTable):
        raise InputError(layout.why)
    if layout.encoding == "utf-16":
        data = as_utf8(data, utf16_of(data) or "utf-16-le")
    body = _from_line(data.removeprefix(b"\xef\xbb\xbf"), layout.data_line)
    if layout.encoding == "latin-1" and not body.isascii():
        body = body.decode("latin-1").encode()
    notes = [f"the first {MOST_BYTES >> 20} MB were read; {more:,} further lines were counted"] if more else []
    if layout.delimiter == blanks.BLANKS:  # thinned before its blanks are sought, which takes longer than all else
        lines = body.rstrip(b"\n").split(b"\n")
        every = max(-(-len(lines) // MOST_ROWS), 1)
        return _of_text(
            _cells(blanks.tabbed(b"\n".join(lines[::every])), layout), layout, len(lines) + more, notes, every
        )
    frame = _cells(body, layout)
    return _of_text(frame, layout, frame.height + more, notes)


def _taken(stream: IO[bytes]) -> tuple[bytes, int]:
    """The first bytes of a stream, to the end of a line, and the number of lines behind them."""
    parts, size = [], 0
    while size <= MOST_BYTES and (part := stream.read(1 << 24)):  # a packed stream gives what it has
        parts.append(part)
        size += len(part)
    data = b"".join(parts)
    if len(data) <= MOST_BYTES:
        return data, 0
    cut = data.rfind(b"\n") + 1 or len(data)
    more = data[cut:].count(b"\n")
    while part := stream.read(1 << 24):
        more += part.count(b"\n")
    return data[:cut], more


def _from_line(data: bytes, line: int) -> bytes:
    """The bytes from a line on, newlines made \\n."""
    if b"\r" in data[:HEAD_BYTES]:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    at = 0
    for _ in range(line):
        at = data.find(b"\n", at) + 1
    return data[at:]


def _cells(body: bytes, layout: Layout) -> pl.DataFrame:
    """Every cell as text. A quote that never closes is text."""
    mark = "\t" if layout.delimiter == blanks.BLANKS else layout.delimiter
    for quote in ('"', None) if b'"' in body[: 1 << 20] else (None,):
        try:
            return pl.read_csv(
                body,
                has_header=False,
                separator=mark,
                quote_char=quote,
                infer_schema=False,
                comment_prefix=layout.comment,
                encoding="utf8-lossy",
                truncate_ragged_lines=True,
                schema={f"{at}": pl.String for at in range(layout.width)},
            )
        except (pl.exceptions.PolarsError, UnicodeDecodeError) as error:
            failure = error
    raise InputError(f"cannot be read as delimited text ({str(failure).splitlines()[0][:120]})")


def _of_text(frame: pl.DataFrame, layout: Layout, rows: int, notes: list[str], thinned: int = 1) -> Table:
    further = max(-(-frame.height // MOST_ROWS), 1)
    every = thinned * further
    kept = frame.gather_every(further).select(pl.nth(range(min(frame.width, MOST_COLUMNS))))
    names = [name or f"column {at + 1}" for at, name in enumerate(layout.names)]
    return as_table("delimited", names, layout.units, kept, layout.decimal, rows, every, layout=layout, notes=notes)


def as_table(
    form: str, names: Sequence[str], units: Sequence[str], cells: pl.DataFrame, decimal: str, rows: int, every: int, *,
    layout: Layout | None = None, notes: list[str] | None = None,
) -> Table:  # fmt: skip
    """The table of cells that are text: numbers, and dates or times of day in the first column that holds them."""
    cells = cells.rename({name: str(at) for at, name in enumerate(cells.columns)})
    values, _ = numbers_of(cells, decimal)
    stamp, found = None, Stamps(pl.Series())
    for at, name in enumerate(cells.columns):
        one = stamps(cells[name], values[name])
        if one.kind is not None:
            values = values.with_columns(one.seconds.alias(name))
            if stamp is None:
                stamp, found = at, one
    columns = named(list(names)[: cells.width], list(units)[: cells.width])
    return Table(
        form, columns, values, rows, every, found.kind or "number", found.dates, found.doubt, found.begins, stamp, layout, notes=notes or []
    )  # fmt: skip


class Stamps(NamedTuple):
    """Seconds of a column of dates or times of day, from the first; their kind, None where it holds none; how its dates are
    written ("" where nothing tells), with the doubt; the first."""

    seconds: pl.Series
    kind: Clock | None = None
    dates: str = "iso"
    doubt: str = ""
    begins: str = ""


def stamps(cells: pl.Series, values: pl.Series) -> Stamps:
    """What a column holds of dates or times of day; its numbers where it holds none, or only some."""
    told = cells.len() - cells.null_count()
    if not told or values.is_finite().fill_null(False).sum() > 0.5 * told:
        return Stamps(values)
    dates, doubt = "iso", ""
    us, bad, kind = parsed(cells, None)
    if kind is None or bad.sum() > 0.1 * told:
        dates, doubt = _order(cells)
        us, bad, kind = parsed(cells, None, "month_first" if dates == "month_first" else "day_first")
    if kind is None or bad.sum() > 0.1 * told:
        return Stamps(values)
    first_cell = cells.drop_nulls().head(1)
    begins = as_iso(first_cell, dates) if dates in ("day_first", "month_first") else first_cell  # type: ignore[arg-type]
    seconds = us.to_numpy() / 1e6
    if kind == "time of day":
        back = np.diff(seconds, prepend=seconds[:1]) < -43200.0
        seconds = seconds + 86400.0 * np.cumsum(back)
    first = seconds[np.isfinite(seconds)]
    return Stamps(
        pl.Series(seconds - (first[0] if first.size else 0.0)), kind, dates, doubt, "" if doubt else str(begins[0])
    )


def _order(cells: pl.Series) -> tuple[str, str]:
    """Whether the day or the month comes first, and the doubt: a number above 12 is a day; dates with dots have the day first, clocks
    with AM and PM go with the month first (common practice)."""
    parts = cells.str.strip_chars().str.extract_groups(WRITTEN).struct.unnest()
    first, second = (parts[place].cast(pl.Int64, strict=False).max() or 0 for place in ("1", "2"))
    if first > 12 or second > 12:  # type: ignore[operator]
        return ("day_first" if first > 12 else "month_first"), ""  # type: ignore[operator]
    if cells.str.contains(r"^\s*\d{1,2}\.\d{1,2}\.").any():
        return "day_first", ""
    if parts["8"].is_not_null().any():
        return "month_first", "as its clock has AM and PM, the month is taken to come first"
    return "", "nothing in it tells whether the day or the month comes first"
