"""XLSX recordings: a sheet with a header row, perhaps a row of units, rows of numbers.

Cells give their stored values; a formula counts by the value that the workbook keeps of it and is never worked out. Cells
of dates and times are timestamps. `fastexcel` is imported only here.
"""

from __future__ import annotations

import fnmatch
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.archive.card import REQUIRED_CHANNELS
from pipeline.archive.scan import natural_key
from pipeline.archive.written import Written
from pipeline.errors import InputError
from pipeline.recordings.chunk import CHUNK_ROWS, Chunk, ClockKind
from pipeline.recordings.columns import positions, units_in
from pipeline.recordings.delimited import Cells, Layout, in_numbers, units_of_row
from pipeline.recordings.files import plain_file
from pipeline.recordings.limits import ALWAYS_BYTES, MOST_BYTES, MOST_PACKED, TooMuch, refuse_rows

NOT_INSTALLED = "XLSX recordings need the package fastexcel; install it with: pip install 'stopsheet[all]'"


TIME_ALONE = r"^(1899-12-3[01]|1900-01-00) "  # the day that a cell with a time of day alone counts from


def parts(path: Path, wanted: str) -> list[str]:
    """Names of the workbook's sheets that match the wildcard, in natural order. Raises InputError where none does."""
    with _workbook(path) as book:
        names = [str(name) for name in book.sheet_names]
    found = sorted((n for n in names if fnmatch.fnmatchcase(n, wanted)), key=lambda n: (natural_key(n), n))
    if not found:
        raise InputError(f"no sheet matches recordings.sheet {wanted!r}; the workbook has {_list(names)}")
    return found


def read(
    path: Path, recordings: Written, part: str | None = None, *, needed: Sequence[str] = REQUIRED_CHANNELS
) -> Iterator[Chunk]:
    """Chunks of one sheet. Raises InputError when it is not what the card says or fastexcel is not installed."""
    clock: ClockKind | None = None
    for layout, cells in rows(path, recordings, part, needed=("time", *needed)):
        chunk = in_numbers(cells, layout, recordings, clock)
        clock = chunk.clock
        yield chunk


def rows(
    path: Path, recordings: Written, part: str | None, *, needed: tuple[str, ...]
) -> Iterator[tuple[Layout, Cells]]:
    """The sheet's rows as text, numbers with a decimal point, with the layout of its head."""
    with _workbook(path) as book:
        names = [str(name) for name in book.sheet_names]
        if part is None and recordings.part is not None:
            names = parts(path, recordings.part)
        if part is None and len(names) != 1:
            raise InputError(
                f"has {len(names)} sheets: {_list(names)}; name the one that is meant in recordings.sheet, or all by '*'"
            )
        table = _texts(book, part or names[0])
    refuse_rows(table.height)
    yield from _laid_out(table, recordings, needed)


def table(path: Path, sheet: str) -> pl.DataFrame:
    """All cells of a sheet as text, numbers with a decimal point."""
    with _workbook(path) as book:
        cells = _texts(book, sheet)
    refuse_rows(cells.height)
    return cells


def _texts(book: Any, sheet: str) -> pl.DataFrame:
    """Every cell as text, numbers with all their digits: the library's own text of a number is rounded to nine decimals."""
    try:
        # skip_rows: else the library passes over empty rows at the top, and no row is where the card says.
        text, number = (
            pl.DataFrame(book.load_sheet(sheet, header_row=None, skip_rows=0, dtypes=kind).to_polars())
            for kind in ("string", "float")
        )
    except BaseException as error:  # a broken sheet fails in the library in any way, its panics too
        _passed_on(error)
        raise InputError(f"cannot be read as XLSX ({_line(error)})") from error
    if text.shape != number.shape:
        raise InputError("cannot be read as XLSX: its texts and its numbers differ in size")
    columns = []
    for cells, values in zip(text.get_columns(), number.get_columns(), strict=True):
        numeric = values.is_not_null() & ~cells.is_in(["true", "false"]).fill_null(False)
        columns.append(cells.str.replace(TIME_ALONE, "").zip_with(~numeric, values.cast(pl.String)))
    return pl.DataFrame(columns)


def _laid_out(table: pl.DataFrame, recordings: Written, needed: tuple[str, ...]) -> Iterator[tuple[Layout, Cells]]:
    at = recordings.skip_lines
    while at < table.height and not any(cell and cell.strip() for cell in table.row(at)):
        at += 1
    if at >= table.height:
        raise InputError(f"has no header row after {recordings.skip_lines} skipped rows")
    header = [cell or "" for cell in table.row(at)]
    columns = positions(header, recordings.channels, needed=needed)
    at += 1
    units = units_of_row([cell or "" for cell in table.row(at)], columns, recordings) if at < table.height else None
    at += units is not None
    layout = Layout(columns, len(header), False, units_in(header, columns) | (units or {}))
    body = table[at:].select(pl.nth(index).alias(name) for name, index in columns.items())
    for first in range(0, max(body.height, 1), CHUNK_ROWS):
        yield layout, Cells(body[first : first + CHUNK_ROWS], [], at + 1 + first)


@contextmanager
def _workbook(path: Path) -> Iterator[Any]:
    try:
        import fastexcel
    except ImportError as error:
        raise InputError(NOT_INSTALLED) from error
    with plain_file(path) as plain:
        _refuse_bomb(plain)
        try:
            book = fastexcel.read_excel(str(plain))
        except BaseException as error:  # a broken file fails in the library in any way, its panics too
            _passed_on(error)
            raise InputError(f"cannot be read as XLSX ({_line(error)})") from error
        yield book


def _passed_on(error: BaseException) -> None:
    if isinstance(error, KeyboardInterrupt | SystemExit | GeneratorExit | MemoryError):
        raise error


def _refuse_bomb(path: Path) -> None:
    """InputError where the file is no workbook; TooMuch where it would unpack to more than is read."""
    try:
        with zipfile.ZipFile(path) as packed:
            entries = packed.infolist()
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        raise InputError(f"cannot be read as XLSX ({_line(error)}); is the file whole?") from error
    size, held = sum(entry.file_size for entry in entries), path.stat().st_size
    if size > MOST_BYTES or size > max(ALWAYS_BYTES, MOST_PACKED * held):
        raise TooMuch(
            f"unpacks to {size / 1e9:.1f} GB from {held / 1e6:.1f} MB: no recording packs like that; export it again"
        )


def _list(names: list[str]) -> str:
    return ", ".join(repr(name[:40]) for name in names[:8]) + (", ..." if len(names) > 8 else "")


def _line(error: BaseException) -> str:
    return f"{type(error).__name__}: {' '.join(str(error).split())[:120]}"
