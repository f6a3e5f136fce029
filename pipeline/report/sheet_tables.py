"""tables.xlsx of a compound: every table of its sheet with the numbers unrounded, and every number with its file and key.

The same document as the prints, so that it cannot disagree with them: a cell with a number becomes a value, with the ends of
its interval beside it; a number that cannot be given stands as the words that say why.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pipeline.report.document import Cell, Items, Number, Section, Table, Text, numbers_of
from pipeline.report.inputs import Inputs
from pipeline.report.result_pages import schema_text
from pipeline.report.sheet import Sheet
from pipeline.results import write_text
from pipeline.results.catalogue import FILES
from pipeline.results.workbook import Worksheet, write_workbook

NUMBERS = ("part", "what", "value", "unit", "low", "high", "as printed", "file", "key", "why not given")


def print_tables(sheet: Sheet, path: Path) -> None:
    """Write tables.xlsx."""
    write_workbook(path, worksheets(sheet.title, sheet.loaded, sheet.sections), dated=sheet.loaded.dated)


def print_schema(sheet: Sheet, path: Path) -> None:
    """Write the JSON Schema of sheet.json beside it, for programs that have the sheet and not the software."""
    (file,) = (one for one in FILES if f"{one.name}.schema.json" == path.name)
    write_text(path, schema_text(file))


def worksheets(title: str, inputs: Inputs, sections: Sequence[Section]) -> list[Worksheet]:
    """Contents, every number, and each table of the sheet in its order."""
    numbers = [
        [
            section.title,
            one.label,
            one.value,
            one.unit,
            one.low,
            one.high,
            one.text,
            one.file,
            one.key,
            None if one.given else one.why,
        ]
        for section in sections
        for one in numbers_of(section)
    ]
    tables = [
        (section.title, part) for section in sections for part in section.parts if isinstance(part, Table | Items)
    ]
    names = [f"{number} {title}" for number, (title, _) in enumerate(tables, 1)]
    made = [_worksheet(name, part) for name, (_, part) in zip(names, tables, strict=True)]
    stated = inputs.title_block
    about: list[list[Any]] = [
        ["sheet", title],
        *(["tests", test.test] for test in inputs.tests),
        ["method", f"{inputs.method}, digest {inputs.digest}"],
        ["results, digest", inputs.results_digest],
        ["made by", f"stopsheet {inputs.software}"],
        ["report number", stated.report_number],
        ["issue", stated.issue],
        ["date of issue", stated.date],
        ["Numbers", "every number of the sheet with the file and key that it was read from"],
        *(
            [name, part.caption if isinstance(part, Table) else "names and values"]
            for name, (_, part) in zip(names, tables, strict=True)
        ),
    ]
    return [Worksheet("Contents", ["what", "text"], about), Worksheet("Numbers", NUMBERS, numbers), *made]


def _worksheet(name: str, part: Table | Items) -> Worksheet:
    if isinstance(part, Items):
        return _spread(name, ["name", "value"], [[label, cell] for label, cell in part.rows], units=True)
    return _spread(name, part.head, part.rows, units=part.units_in_cells)


def _spread(name: str, head: Sequence[str], rows: Sequence[Sequence[Cell]], *, units: bool) -> Worksheet:
    """The table with low and high beside each column that has intervals, and the unit where the head does not say it."""
    wide: list[str] = []
    columns = [[row[place] for row in rows] for place in range(len(head))]
    kinds: list[tuple[bool, bool]] = []
    for title, column in zip(head, columns, strict=True):
        numbers = [one for cell in column if (one := _number(cell)) is not None]
        ends = any(one.low is not None or one.high is not None for one in numbers)
        with_unit = units and any(one.unit for one in numbers)
        kinds.append((ends, with_unit))
        wide += [
            title,
            *([f"{title}, unit"] if with_unit else []),
            *([f"{title}, low", f"{title}, high"] if ends else []),
        ]
    filled = [[piece for cell, kind in zip(row, kinds, strict=True) for piece in _pieces(cell, *kind)] for row in rows]
    return Worksheet(name, wide, filled)


def _number(cell: Cell) -> Number | None:
    """The number of a cell that holds nothing else."""
    if isinstance(cell, Text) and len(cell.values) == 1:
        ((name, inner),) = cell.values.items()
        return inner if cell.template == f"{{{name}}}" and isinstance(inner, Number) else None
    return cell if isinstance(cell, Number) else None


def _pieces(cell: Cell, ends: bool, with_unit: bool) -> list[Any]:
    number = _number(cell)
    if number is None:
        return [cell if isinstance(cell, str) else cell.text, *[None] * (with_unit + 2 * ends)]
    first = number.value if number.given else number.text
    unit = number.unit or None if number.given else None
    return [first, *([unit] if with_unit else []), *([number.low, number.high] if ends else [])]
