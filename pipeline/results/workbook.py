"""A workbook for spreadsheets (Office Open XML, by XlsxWriter): plain tables, the unit in each header, equal content in equal bytes.

Texts are the user's: none is written as a formula, a link or a number, and one that a spreadsheet would take for a
formula when its cell is edited is marked as text (`quotePrefix`). The file holds no clock: its date is that of what it shows.
"""

from __future__ import annotations

import datetime
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.results.files import FORMULA, whole

LONGEST_NAME = 31  # characters of a worksheet's name
LONGEST_TEXT = 32_767  # characters of a cell; both are limits of the file format
FORBIDDEN = re.compile(r"[\[\]:*?/\\\x00-\x1f]")
CUT = " … (cut: longer than a cell holds)"
WIDEST = 60  # letters
NO_DATE = datetime.date(2000, 1, 1)  # of a workbook whose content has none


@dataclass(frozen=True)
class Worksheet:
    """A table of a workbook. head: with units; rows: numbers, texts, truths, lists of these, None for an empty cell."""

    name: str
    head: Sequence[str]
    rows: Sequence[Sequence[Any]]


def write_workbook(path: Path, worksheets: Iterable[Worksheet], *, dated: datetime.date | None = None) -> None:
    """Write the workbook whole; worksheets of one name are numbered."""
    content = workbook(worksheets, dated=dated)
    with whole(path) as part:
        part.write_bytes(content)


def workbook(worksheets: Iterable[Worksheet], *, dated: datetime.date | None = None) -> bytes:
    """The workbook's bytes."""
    import xlsxwriter

    buffer = io.BytesIO()
    made = xlsxwriter.Workbook(
        buffer,
        {
            "in_memory": True,
            "strings_to_formulas": False,
            "strings_to_urls": False,
            "strings_to_numbers": False,
        },
    )
    made.set_properties({"created": datetime.datetime.combine(dated or NO_DATE, datetime.time())})
    formats = {
        "head": made.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"}),
        "head_quoted": made.add_format(
            {"bold": True, "bottom": 1, "text_wrap": True, "valign": "top", "quote_prefix": True}
        ),
        "quoted": made.add_format({"quote_prefix": True}),
    }
    used: set[str] = set()
    for worksheet in worksheets:
        _write(made.add_worksheet(_name(worksheet.name, used)), worksheet, formats)
    made.close()
    return buffer.getvalue()


def _write(place: Any, worksheet: Worksheet, formats: dict[str, Any]) -> None:
    widths = [len(name) for name in worksheet.head]
    for column, name in enumerate(worksheet.head):
        place.write_string(0, column, _cut(name), formats["head_quoted" if name.startswith(FORMULA) else "head"])
    for number, row in enumerate(worksheet.rows, 1):
        for column, cell in enumerate(row):
            value = plain(cell)
            if value is None:
                continue
            if isinstance(value, bool):
                place.write_boolean(number, column, value)
            elif isinstance(value, int | float):
                place.write_number(number, column, value)
            else:
                place.write_string(number, column, value, formats["quoted"] if value.startswith(FORMULA) else None)
                widths[column] = max(widths[column], len(value))
    for column, width in enumerate(widths):
        place.set_column(column, column, min(width, WIDEST) + 2)
    place.freeze_panes(1, 0)
    if worksheet.rows and worksheet.head:
        place.autofilter(0, 0, len(worksheet.rows), len(worksheet.head) - 1)


def plain(cell: Any) -> Any:
    """A cell as number, truth, text or None; a number that is not finite is none that could be given."""
    if isinstance(cell, bool) or cell is None:
        return cell
    if isinstance(cell, int | float):
        finite = cell == cell and cell not in (float("inf"), float("-inf"))
        return (float(f"{cell:.9g}") if isinstance(cell, float) else cell) if finite else None
    if isinstance(cell, list | tuple):
        return _cut(", ".join(str(one) for one in cell))
    return _cut(str(cell))


def _cut(text: str) -> str:
    return text if len(text) <= LONGEST_TEXT else text[: LONGEST_TEXT - len(CUT)] + CUT


def _name(name: str, used: set[str]) -> str:
    """A name that a worksheet may have and no other has (case does not tell them apart)."""
    base = FORBIDDEN.sub(" ", name).strip(" '")[:LONGEST_NAME].strip(" '") or "Table"
    found, number = base, 1
    while found.lower() in used or found.lower() == "history":  # that one is reserved
        number += 1
        found = f"{base[: LONGEST_NAME - len(str(number)) - 1]} {number}"
    used.add(found.lower())
    return found
