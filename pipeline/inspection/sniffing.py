"""How delimited text is laid out, by its first bytes alone: encoding, delimiter, decimal mark, header, units, first row of data.

Every delimiter is tried; the one by which most rows are numbers of one width is it. Pure functions on bytes; nothing raises.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass, field

from pipeline.inspection.rows import Head, decimal_of, head_of, is_value, said_before
from pipeline.recordings import blanks
from pipeline.recordings.encodings import as_utf8, utf16_of

HEAD_BYTES = 1 << 16
DELIMITERS = (";", "\t", ",", "|", " ")
COMMENTS = ("#", "%", "//", "!", "*")
MOST_LINES = 400
LONGEST = 20_000  # characters of a line that is still text of a table


@dataclass(frozen=True)
class Layout:
    """The layout of a text: lines count from 0 in the file; skip_lines and comment are what the card says of it."""

    encoding: str
    delimiter: str
    decimal: str
    names: list[str]
    units: list[str]  # one a column; "" where no row gives one
    header_line: int | None
    units_line: int | None
    data_line: int
    width: int
    skip_lines: int
    comment: str | None
    said: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class NoTable:
    """Why bytes are no delimited text, and what to do."""

    why: str


def layout_of(data: bytes, *, whole: bool) -> Layout | NoTable:
    """The layout of a text by its first bytes. whole: whether they are all of the file."""
    if not data.strip():
        return NoTable("is empty")
    decoded = _decoded(data, whole)
    if isinstance(decoded, NoTable):
        return decoded
    encoding, text = decoded
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if not whole and len(lines) > 1:
        lines = lines[:-1]
    lines = lines[:MOST_LINES]
    if max(map(len, lines)) > LONGEST:
        return NoTable(f"has a line of over {LONGEST} characters: no delimited text, or its line ends are lost")
    tried = [
        (_worth(rows, head), mark, rows, head) for mark in DELIMITERS if (head := head_of(rows := split(lines, mark)))
    ]
    if not tried:
        return NoTable("holds text, but no three rows of numbers of one width: no table of samples is found in it")
    _, mark, rows, head = max(tried, key=lambda one: one[0])
    return _laid_out(encoding, lines, mark, rows, head)


def _decoded(data: bytes, whole: bool) -> tuple[str, str] | NoTable:
    if (two_byte := utf16_of(data)) is not None:
        return "utf-16", as_utf8(data, two_byte).decode()
    if b"\0" in data:
        return NoTable("holds binary data of a kind that is not known; save its channels as CSV, Parquet or HDF5")
    plain = data.removeprefix(b"\xef\xbb\xbf")
    try:
        return "utf-8", plain.decode("utf-8")
    except UnicodeDecodeError as error:
        if not whole and error.start >= len(plain) - 3:  # a letter cut in two by the end of what was read
            return "utf-8", plain.decode("utf-8", "ignore")
    controls = sum(plain.count(bytes([code])) for code in (*range(1, 9), *range(14, 32)))
    if controls > 0.01 * len(plain):
        return NoTable("holds binary data of a kind that is not known; save its channels as CSV, Parquet or HDF5")
    return "latin-1", plain.decode("latin-1")


def split(lines: Sequence[str], mark: str) -> list[list[str]]:
    """Each line in its cells; a quote that does not close is text."""
    if mark == blanks.BLANKS:
        width = blanks.width_of(lines)
        return [blanks.fields(line, width) for line in lines]
    found = []
    for line in lines:
        try:
            found.append(next(csv.reader([line], delimiter=mark), []))
        except csv.Error:
            found.append(line.split(mark))
    return found


def _worth(rows: list[list[str]], head: Head) -> tuple[float, int, int]:
    """How well a delimiter explains the rows: values of rows of one width, then names that fit, then the number of columns."""
    body = [row for row in rows[head.data :] if any(cell.strip() for cell in row)]
    fits = [row for row in body if len(row) == head.width]
    cells = [cell for row in fits for cell in row if cell.strip()]
    share = sum(map(is_value, cells)) / max(len(cells), 1)
    return round(share * len(fits) / max(len(body), 1), 2), int(head.header is not None), head.width


def _laid_out(encoding: str, lines: list[str], mark: str, rows: list[list[str]], head: Head) -> Layout:
    body = rows[head.data :]
    names = [cell.strip() for cell in rows[head.header]] if head.header is not None else []
    names += [""] * (head.width - len(names))
    units = [cell.strip().strip("[](){}<> ") for cell in rows[head.units]] if head.units is not None else []
    units += [""] * (head.width - len(units))
    first = head.header if head.header is not None else head.data
    before = [line for line in lines[:first] if line.strip()]
    comment = next((c for c in COMMENTS if before and all(line.lstrip().startswith(c) for line in before)), None)
    if comment is not None and head.header is not None and lines[head.header].lstrip().startswith(comment):
        comment = None
    if comment is None and any(line.lstrip().startswith("#") for line in lines[head.data :]):
        comment = "#"
    skip = 0 if not before or all(comment and line.lstrip().startswith(comment) for line in before) else first
    return Layout(
        encoding=encoding,
        delimiter=mark,
        decimal=decimal_of(body),
        names=names[: head.width],
        units=units[: head.width],
        header_line=head.header,
        units_line=head.units,
        data_line=head.data,
        width=head.width,
        skip_lines=skip,
        comment=comment,
        said=said_before(before),
    )
