"""Where names, units and numbers begin among rows of cells.

Data begin at the first of three rows in a row (or of all that there are) that have one width and are numbers in at least
half of their cells. The row above is the header, or the units and the header above those, where at least half of its cells
are units. What stands before is told apart into remarks and `key: value`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.inputs.quantities import DIMENSIONS, reads_as
from pipeline.recordings.numbers import ABSENT
from pipeline.recordings.timestamps import ISO

POINT = re.compile(r"^[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?$", re.ASCII)
COMMA = re.compile(r"^[-+]?(\d+,?\d*|,\d+)([eE][-+]?\d+)?$", re.ASCII)
STAMP = re.compile(ISO)
# Dates that mean two days, or clocks with a letter: told, not read.
OTHER_STAMP = re.compile(
    r"^(\d{1,4}[./-]\d{1,2}[./-]\d{1,4}([ T]+\d{1,2}:\d{2}(:\d{2}([.,]\d+)?)?)?|\d{1,2}:\d{2}:\d{2}.*)$"
)
IN_A_ROW = 3
WORDLESS = ("-", "--", "1", "%", "")


@dataclass(frozen=True)
class Head:
    """header, units: indices of their rows, None where there is none; data: of the first row of numbers; width: its cells."""

    header: int | None
    units: int | None
    data: int
    width: int


def is_value(cell: str) -> bool:
    """Whether a cell is a number in either notation, a mark for none, or a moment."""
    text = cell.strip(" \t\r\u00a0'\"")
    return bool(
        not text
        or POINT.match(text)
        or COMMA.match(text)
        or text.lower() in ABSENT
        or STAMP.match(text)
        or OTHER_STAMP.match(text)
    )


def is_numeric(row: Sequence[str]) -> bool:
    """Whether a row is one of numbers: two cells or more of it say something, most are values, and one is no blank."""
    filled = [cell for cell in row if cell.strip()]
    return len(filled) >= 2 and sum(map(is_value, filled)) >= max(2, 0.5 * len(filled) + 0.5)


def is_unit(cell: str) -> bool:
    """Whether a cell is a unit, with or without brackets."""
    text = cell.strip().strip("[](){}<> ")
    return (
        text in WORDLESS
        or text.lower() in ("timestamp", "hh:mm:ss")
        or any(reads_as(text, d) for d in DIMENSIONS if d != "share")
    )


def head_of(rows: Sequence[Sequence[str]]) -> Head | None:
    """Where names, units and data stand; None where no rows of numbers follow each other."""
    data = _data(rows)
    if data is None:
        return None
    width = len(rows[data])
    above = [at for at in range(max(data - 6, 0), data) if _may_head(rows[at], width)]
    if not above or above[-1] != _filled_before(rows, data):
        return Head(None, None, data, width)
    last = above[-1]
    if len(above) > 1 and _are_units(rows[last]) and not _are_units(rows[above[-2]]):
        return Head(above[-2], last, data, width)
    return Head(last, None, data, width)


def _data(rows: Sequence[Sequence[str]]) -> int | None:
    numeric = [is_numeric(row) for row in rows]
    filled = [at for at, row in enumerate(rows) if any(cell.strip() for cell in row)]
    for place, at in enumerate(filled):
        run = filled[place : place + IN_A_ROW]
        if all(numeric[i] and len(rows[i]) == len(rows[at]) for i in run) and (
            len(run) == IN_A_ROW or len(filled) - place == len(run)
        ):
            return at
    return None


def _filled_before(rows: Sequence[Sequence[str]], data: int) -> int | None:
    return next((at for at in range(data - 1, -1, -1) if any(cell.strip() for cell in rows[at])), None)


def _may_head(row: Sequence[str], width: int) -> bool:
    """Whether a row is as wide as the data (an empty last cell more or less) and no row of numbers."""
    names = list(row)
    while names and not names[-1].strip():
        names.pop()
    return abs(len(row) - width) <= 1 and len(names) >= 2 and not is_numeric(row)


def _are_units(row: Sequence[str]) -> bool:
    said = [cell for cell in row if cell.strip() not in ("", "-", "1")]
    return (
        len(said) >= 2 and sum(map(is_unit, said)) >= 0.5 * len(said) and all(len(cell.strip()) <= 20 for cell in said)
    )


def decimal_of(rows: Sequence[Sequence[str]]) -> str:
    """The decimal mark by which more cells are numbers; a point where nothing tells. Commas in cells that commas part were quoted."""
    cells = [cell.strip(" \t\r\u00a0'\"") for row in rows for cell in row]
    commas = sum("," in cell and bool(COMMA.match(cell)) for cell in cells)
    points = sum("." in cell and bool(POINT.match(cell)) for cell in cells)
    return "," if commas > points else "."


def said_before(lines: Sequence[str]) -> dict[str, str]:
    """`key: value` of the lines before the header (`:`, `=`, `;` or tab between), at most 60."""
    found: dict[str, str] = {}
    for line in lines:
        match = re.match(
            r"^[\s#%;*!/\"']*([^\W\d_][^:=;\t,]{0,40}?)\s*[:=;\t,]+\s*\"?([^\t\"]{1,200}?)[\s;,\"\t]*$", line
        )
        if match and len(found) < 60:
            found.setdefault(match[1].strip(), match[2].strip())
    return found
