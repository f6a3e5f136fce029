"""Delimited text: header row, perhaps a row of units, rows of numbers.

Read in blocks of whole lines, so that a file of any size takes the same memory. Rows with another number of
fields than the header are damage and left out: with one delimiter too many or too few no cell can be told
from its neighbour.
"""

from __future__ import annotations

import csv
import io
import itertools
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np
import polars as pl

from pipeline.archive.card import REQUIRED_CHANNELS
from pipeline.archive.written import Written
from pipeline.errors import Complaint, InputError
from pipeline.recordings import blanks
from pipeline.recordings.chunk import Chunk, ClockKind, Damage
from pipeline.recordings.columns import positions, units_in
from pipeline.recordings.encodings import recoded
from pipeline.recordings.files import exactly, opened
from pipeline.recordings.numbers import ABSENT, damage_of, numbers_of
from pipeline.recordings.timestamps import parsed

if TYPE_CHECKING:
    import pyarrow as pa

EMPTY = Complaint("", "is empty", "a header and rows of numbers", "export the recording again or remove it", 1)
BLOCK_BYTES = 1 << 24
HEAD_BYTES = 1 << 16
LONGEST_LINE = 1 << 20
UNIT = re.compile(r"[\[({<]?\s*[^\W\d_]|[\[({<]?\s*[%°]")
NUMBERED = "column "  # with its number from 1: a column's name where no row gives one
BYTE_ORDER_MARK = b"\xef\xbb\xbf"


class Layout(NamedTuple):
    """How a file's rows are laid out: columns by canonical name, fields in a row, units where a row gives
    them."""

    columns: dict[str, int]
    width: int
    quoted: bool
    units: dict[str, str]


class Cells(NamedTuple):
    """Rows as text, columns under canonical names; line: of the first row in the file, None where lines do
    not count; plain: the rows are numbers already, as every cell is one or empty."""

    rows: pl.DataFrame
    damage: list[Damage]
    line: int | None
    plain: bool = False


def read(path: Path, recordings: Written, *, needed: Sequence[str] = REQUIRED_CHANNELS) -> Iterator[Chunk]:
    """Chunks of the recording. Raises InputError when it is not what the card says."""
    clock: ClockKind | None = None
    for layout, cells in rows(path, recordings, needed=("time", *needed), in_numbers=not recordings.timestamps):
        chunk = in_numbers(cells, layout, recordings, clock)
        clock = chunk.clock
        yield chunk


def in_numbers(cells: Cells, layout: Layout, recordings: Written, clock: ClockKind | None = None) -> Chunk:
    """The rows as numbers, timestamps in microseconds. clock: the kind of the recording's timestamps so far."""
    if cells.plain:
        return Chunk(cells.rows, cells.damage, layout.units)
    if not recordings.timestamps:
        values, damage = numbers_of(cells.rows, recordings.decimal, cells.line)
        return Chunk(values, [*cells.damage, *damage], layout.units)
    values, damage = numbers_of(cells.rows.drop("time"), recordings.decimal, cells.line)
    time, bad, clock = parsed(cells.rows["time"], clock, recordings.dates)
    damage += damage_of("time", cells.rows["time"], time, bad, cells.line)
    values = values.select(time.alias("time"), *values.columns)
    return Chunk(values, [*cells.damage, *damage], layout.units, clock)


def head(path: Path, recordings: Written, *, needed: tuple[str, ...]) -> tuple[Layout, Cells]:
    """Layout and first rows of a recording, without reading on. Raises InputError as `rows` does."""
    with opened(path) as stream:
        data = _checked_start(exactly(_letters(stream, recordings.encoding), HEAD_BYTES))
        if not data:
            raise InputError(EMPTY)
        if len(data) == HEAD_BYTES:
            data = data[: max(data.rfind(b"\n"), data.rfind(b"\r")) + 1]
        block = _as_utf8(data.replace(b"\r\n", b"\n").replace(b"\r", b"\n"), recordings.encoding)
        layout, line, block = _head(1, block, recordings, needed)
        return layout, _cells(block, line, layout, recordings)


def rows(
    path: Path, recordings: Written, *, needed: tuple[str, ...], in_numbers: bool = False
) -> Iterator[tuple[Layout, Cells]]:
    """The file's rows as text, block by block, with the layout of its head.

    in_numbers: read a block as numbers at once where all its cells are; from the first one on that does not go so, as text.
    """
    with opened(path) as stream:
        blocks = _blocks(stream, recordings.encoding)
        try:
            line, block = next(blocks)
        except StopIteration:
            raise InputError(EMPTY) from None
        layout, line, block = _head(line, block, recordings, needed)
        for at, part in itertools.chain([(line, block)], blocks):
            cells = _cells(part, at, layout, recordings, in_numbers=in_numbers)
            in_numbers = in_numbers and cells.plain
            yield layout, cells


def _blocks(stream: IO[bytes], encoding: str) -> Iterator[tuple[int, bytes]]:
    """(number of the first line, whole lines as UTF-8), newlines made \\n."""
    stream = _letters(stream, encoding)
    rest, line, first, more = b"", 1, True, True
    while more:
        data = exactly(stream, BLOCK_BYTES)
        more = len(data) == BLOCK_BYTES
        if first:
            data, first = _checked_start(data), False
        block, rest = rest + data, b""
        if more:
            cut = max(block.rfind(b"\n"), block.rfind(b"\r", 0, len(block) - 1)) + 1
            block, rest = block[:cut], block[cut:]
            if len(rest) > LONGEST_LINE:
                words = f"is longer than {LONGEST_LINE} bytes: not delimited text"
                raise InputError(Complaint("", words, "lines of text", "see recordings.format", line + block.count(10)))
        if block:
            if b"\r" in block:
                block = block.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
            yield line, _as_utf8(block, encoding)
            line += block.count(b"\n") if more else 0


def _letters(stream: IO[bytes], encoding: str) -> IO[bytes]:
    return recoded(stream) if encoding == "utf-16" else stream


def _checked_start(data: bytes) -> bytes:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise InputError(
            Complaint("", "is UTF-16 text", "UTF-8, or recordings.encoding", "write recordings.encoding: utf-16", 1)
        )
    if b"\0" in data[:65536]:
        raise InputError(
            Complaint("", "holds binary data, not delimited text", "delimited text", "see recordings.format", 1)
        )
    return data.removeprefix(BYTE_ORDER_MARK)


def _as_utf8(block: bytes, encoding: str) -> bytes:
    if block.isascii():
        return block
    if encoding == "latin-1":
        return block.decode("latin-1").encode()
    # A stray byte spoils its cell, which then is no number, not the file.
    return block.decode("utf-8", "replace").encode()


def _head(line: int, block: bytes, recordings: Written, needed: tuple[str, ...]) -> tuple[Layout, int, bytes]:
    """Layout from header, units row and first row of data; the block and line number with the head taken
    off."""
    lines = io.BytesIO(block)
    taken, header, skipped = line, b"", 0
    comment = recordings.comment.encode() if recordings.comment else None
    while True:
        text = lines.readline()
        if not text:
            raise InputError(
                Complaint(
                    "",
                    f"has no header row after {recordings.skip_lines} skipped lines and comments",
                    "a line of column names",
                    "correct recordings.skip_lines or comment",
                    taken,
                )
            )
        taken += 1
        if skipped < recordings.skip_lines:
            skipped += 1
        elif text.strip() and not (comment and text.lstrip().startswith(comment)):
            header = text
            break
    width = _blanks_width(block, lines.tell(), recordings)
    names = _fields(header, recordings.delimiter, width)
    before = lines.tell() - len(header)
    if not recordings.header_row:
        names = [f"{NUMBERED}{at}" for at in range(1, len(names) + 1)]
    try:
        columns = positions(names, recordings.channels, needed=needed)
    except InputError as error:
        hint = _hint(names, header, recordings)
        raise InputError(*(replace(one, line=taken - 1, mend=hint or one.mend) for one in error.complaints)) from error
    if not recordings.header_row:
        return Layout(columns, len(names), b'"' in header, {}), taken - 1, block[before:]
    after = lines.tell()
    second = _next_row(lines, comment)
    units = _units(second, columns, recordings, width)
    if units is not None:
        taken += block[after : lines.tell()].count(b"\n")
        after = lines.tell()
        second = _next_row(lines, comment)
    size = _width(names, _fields(second, recordings.delimiter))
    quoted = b'"' in header or any(b'"' in text for text in block[after : after + 65536].split(b"\n", 3)[:3])
    return Layout(columns, size, quoted, units_in(names, columns) | (units or {})), taken, block[after:]


def _blanks_width(block: bytes, after: int, recordings: Written) -> int | None:
    """Cells of a row of numbers behind the header, where blanks part them."""
    if recordings.delimiter != blanks.BLANKS:
        return None
    return blanks.width_of(block[after : after + 65536].decode("utf-8", "replace").split("\n")[:-1][:200])


def _fields(line: bytes, delimiter: str, width: int | None = None) -> list[str]:
    text = line.decode("utf-8", "replace").strip("\r\n")
    if delimiter == blanks.BLANKS:
        return blanks.fields(text, width)
    if len(text) > csv.field_size_limit():
        raise InputError(f"a line is longer than {csv.field_size_limit()} characters: is it text with line ends?")
    try:
        return next(csv.reader([text], delimiter=delimiter), [])
    except csv.Error as error:
        raise InputError(f"cannot be read as delimited text ({error})") from error


def _next_row(lines: io.BytesIO, comment: bytes | None) -> bytes:
    while text := lines.readline():
        if text.strip() and not (comment and text.lstrip().startswith(comment)):
            return text
    return b""


def _units(row: bytes, columns: dict[str, int], recordings: Written, width: int | None) -> dict[str, str] | None:
    """Units by canonical name where the line is a row of units, else None."""
    return units_of_row(_fields(row, recordings.delimiter, width), columns, recordings) if row else None


def units_of_row(fields: list[str], columns: dict[str, int], recordings: Written) -> dict[str, str] | None:
    """Units by canonical name when the row is one of units, else None.

    auto: every mapped cell that is not empty or 1 begins as a unit does, with a letter or a sign, and there
    are two.
    """
    if recordings.units_row is False:
        return None
    cells = {name: fields[at].strip() if at < len(fields) else "" for name, at in columns.items()}
    if recordings.units_row == "auto":
        values = [cell for cell in cells.values() if cell and cell != "1"]
        units = [cell for cell in values if UNIT.match(cell) and cell.lower() not in ABSENT]
        time = cells.get("time", "")
        if len(units) < 2 or len(units) < len(values) or (time and time not in units):
            return None
    return {name: cell.strip("[](){}<> ") for name, cell in cells.items() if cell}


def _width(names: list[str], fields: list[str]) -> int:
    """Fields of a data row: the header's, or one more or less where one of the two ends in a delimiter."""
    if len(fields) == len(names) + 1 and not fields[-1].strip():
        return len(fields)
    if len(fields) == len(names) - 1 and not names[-1].strip():
        return len(fields)
    return len(names)


def _hint(names: list[str], header: bytes, recordings: Written) -> str:
    """What to ask where a column is not found: another delimiter in a header of one field, or letters of another
    encoding.
    """
    if "\ufffd".encode() in header:
        return "the header is not UTF-8: is recordings.encoding latin-1?"
    others = [d for d in (",", ";", "\t", "|") if d != recordings.delimiter and d.encode() in header]
    if len(names) > 1 or not others:
        return ""
    return f"is recordings.delimiter {'tab' if others[0] == chr(9) else repr(others[0])}?"


def _cells(block: bytes, line: int, layout: Layout, recordings: Written, *, in_numbers: bool = False) -> Cells:
    """The mapped columns of a block as text, or as numbers where that is asked and all are; rows with another number of
    fields are damage."""
    counts = True
    comment = recordings.comment.encode() if recordings.comment else None
    if comment and comment in block:
        block, removed = re.subn(rb"(?m)^[ \t]*" + re.escape(comment) + rb"[^\n]*\n?", b"", block)
        counts = removed == 0
    wrong: list[tuple[int | None, str]] = []

    def skip(row: Any) -> str:
        if row.text.strip():
            wrong.append((row.number, row.text))
        return "skip"

    delimiter = recordings.delimiter
    if delimiter == blanks.BLANKS:
        block, delimiter = blanks.tabbed(block), "\t"
    names = [f"#{at}" for at in range(layout.width)]
    wanted = {name: f"#{at}" for name, at in layout.columns.items() if at < layout.width}
    sought = list(dict.fromkeys(wanted.values()))
    read = None
    filled = bool(block) and not block.isspace()
    if in_numbers and filled:
        read = _parsed_numbers(block, names, sought, layout.quoted, delimiter, recordings.decimal, skip)
        if read is None:
            wrong.clear()
    plain = read is not None
    if read is None and filled:
        read = _parsed(block, names, sought, layout.quoted, delimiter, skip)
    kind = pl.Float64 if plain else pl.String
    if read is not None and len(sought) == len(wanted):
        frame = read
        frame.columns = list(wanted)
    elif read is not None:  # a column of two channels
        frame = pl.DataFrame([read[at].alias(name) for name, at in wanted.items()])
    else:
        frame = pl.DataFrame(schema=dict.fromkeys(wanted, kind))
    if len(wanted) < len(layout.columns):
        frame = frame.with_columns(pl.lit(None, kind).alias(n) for n in layout.columns if n not in wanted)
    damage = []
    if wrong:
        number, text = wrong[0]
        at = line + number - 1 if counts and number is not None else None
        lines = sum(text.count("\n") + 1 for _, text in wrong)
        damage.append(Damage("fields", None, lines, at, text[:40]))
    return Cells(frame, damage, line if counts and not wrong else None, plain)


def _parsed(block: bytes, names: list[str], wanted: list[str], quoted: bool, delimiter: str, skip: Any) -> pl.DataFrame:
    """Columns of text, by Arrow. A quote that never closes would swallow rows: then quotes are taken as
    text."""
    import pyarrow as pa

    for quote in ('"', False) if quoted else (False,):
        try:
            return _table(block, names, wanted, quote, delimiter, skip, pa.string())
        except pa.ArrowInvalid as error:
            failure = error
    raise InputError(f"cannot be read as delimited text ({str(failure).splitlines()[0][:120]})")


def _parsed_numbers(
    block: bytes, names: list[str], wanted: list[str], quoted: bool, delimiter: str, decimal: str, skip: Any
) -> pl.DataFrame | None:
    """Columns of finite numbers, null where a cell is empty; None where a cell is anything else.

    The same values as by way of text, at half the time: either way a number is the one nearest to its digits.
    """
    import pyarrow as pa

    try:
        read = _table(block, names, wanted, '"' if quoted else False, delimiter, skip, pa.float64(), decimal)
    except pa.ArrowInvalid:
        return None
    finite = np.count_nonzero(np.isfinite(read.to_numpy()))
    return read if finite == read.height * read.width - sum(column.null_count() for column in read) else None


def _table(
    block: bytes,
    names: list[str],
    wanted: list[str],
    quote: str | Literal[False],
    delimiter: str,
    skip: Any,
    kind: pa.DataType,
    decimal: str = ".",
) -> pl.DataFrame:
    import pyarrow as pa
    from pyarrow import csv as arrow

    table = arrow.read_csv(
        pa.BufferReader(block),
        read_options=arrow.ReadOptions(column_names=names, use_threads=False, block_size=len(block) + 1),
        parse_options=arrow.ParseOptions(delimiter=delimiter, quote_char=quote, invalid_row_handler=skip),
        convert_options=arrow.ConvertOptions(
            column_types=dict.fromkeys(wanted, kind),
            include_columns=wanted,
            strings_can_be_null=True,
            null_values=[""],
            quoted_strings_can_be_null=True,
            decimal_point=decimal,
        ),
    )
    return pl.DataFrame(table)
