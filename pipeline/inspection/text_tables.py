"""A small table that a person keeps (a schedule, a register of tests), from CSV or XLSX: header and rows of text."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from pipeline.archive.scan import printable
from pipeline.errors import InputError
from pipeline.inputs.plain_files import plain_bytes
from pipeline.recordings.encodings import as_utf8, utf16_of

MOST_BYTES = 20_000_000
MOST_ROWS = 20_000


def rows_of(path: Path) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """(names of the columns, (line in the file, cells) of each row that says something). Raises InputError naming the file."""
    rows = _sheet(path) if path.suffix.lower() == ".xlsx" else _text(path)
    filled = [(line, row) for line, row in rows if any(cell.strip() for cell in row)]
    head = next((at for at, (_, row) in enumerate(filled) if sum(bool(c.strip()) for c in row) >= 2), None)
    if head is None or len(filled) <= head + 1:
        raise InputError(
            f"{printable(path.name)}: holds no table: a header row of two names or more, and rows below it"
        )
    names = [cell.strip() for cell in filled[head][1]]
    if len(filled) > MOST_ROWS:
        raise InputError(f"{printable(path.name)}: has over {MOST_ROWS} rows")
    body = [
        (line, [cell.strip() for cell in (*row, *[""] * (len(names) - len(row)))]) for line, row in filled[head + 1 :]
    ]
    return names, body


def _sheet(path: Path) -> list[tuple[int, list[str]]]:
    from pipeline.recordings import xlsx

    if not path.is_file():
        raise InputError(f"{printable(str(path))}: no such file")
    try:
        table = xlsx.table(path, xlsx.parts(path, "*")[0])
    except InputError as error:
        raise InputError(f"{printable(path.name)}: {error}") from error
    return [(at, [cell or "" for cell in row]) for at, row in enumerate(table.rows(), start=1)]


def _text(path: Path) -> list[tuple[int, list[str]]]:
    data = plain_bytes(path, MOST_BYTES).removeprefix(b"\xef\xbb\xbf")
    if (two_byte := utf16_of(data)) is not None:
        data = as_utf8(data, two_byte)
    if b"\0" in data:
        raise InputError(f"{printable(path.name)}: is no text; save it as CSV (UTF-8) or XLSX")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    first = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = max((";", "\t", ","), key=first.count)
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
        return [(reader.line_num, row) for row in reader]
    except csv.Error as error:
        raise InputError(f"{printable(path.name)}: cannot be read as a table ({error})") from error
