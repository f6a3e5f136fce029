"""The sheet before it has a form: sections of text, numbers, tables and figures.

HTML, PDF and sheet.json are three prints of the same document, so that they can't disagree. A number enters the
document with the file (that an earlier stage wrote, or the user's input) and the key that it was read from
(`report/source.py`); a null keeps the reason that stands beside it there.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

from pipeline.report import numbers
from pipeline.results.sheet import PrintedFigure, PrintedListing, PrintedNumber, PrintedSection, PrintedTable

#: ranks of parts in a print of few pages: what stands in front, what does where there is room, what stands in the appendix
FRONT, ROOM, LAST = 1, 2, 9


@dataclass(frozen=True)
class Number:
    """A number shown: value (and interval) in `unit`, and the file and JSON pointer it was read from.

    `factor` is what the file's value was multiplied by for showing (a share as per cent). A number that can't be
    given has value None and `why`; `brief` leaves the reason out where the row of a table says it anyway. `against` are limits
    on whose other side it may not be rounded; a `chance` in per cent is never printed as certainty.
    """

    label: str
    value: float | int | None
    unit: str
    file: str
    key: str
    low: float | None = None
    high: float | None = None
    decimals: int | None = None
    factor: float = 1.0
    why: str | None = None
    brief: bool = False
    against: tuple[float | None, ...] = ()
    chance: bool = False

    @property
    def text(self) -> str:
        """As printed, with its unit; `not given: <why>` for a null."""
        if self.value is None:
            return f"{numbers.MISSING}: {numbers.worded(str(self.why))}"
        return self._shown() + numbers.unit_suffix(self.unit)

    @property
    def bare(self) -> str:
        """As printed in a table column that names the unit in its head."""
        if self.value is None:
            return numbers.MISSING if self.brief else f"{numbers.MISSING}: {numbers.worded(str(self.why))}"
        return self._shown()

    def _shown(self) -> str:
        assert self.value is not None
        if self.chance:
            return numbers.chance(self.value)
        return numbers.with_interval(self.value, self.low, self.high, self.unit, self.decimals, self.against)

    @property
    def given(self) -> bool:
        """Whether there is a value."""
        return self.value is not None

    def printed(self) -> PrintedNumber:
        """The entry of sheet.json."""
        return PrintedNumber(
            label=self.label,
            text=self.text,
            value=self.value,
            unit=self.unit,
            low=self.low,
            high=self.high,
            file=self.file,
            key=self.key,
            factor=None if self.factor == 1.0 else self.factor,
            why=self.why if self.value is None else None,
        )


@dataclass(frozen=True)
class Text:
    """A paragraph, or the text of a cell: a template with {names} and the numbers that fill them; `tone` is plain,
    good, bad or open.

    It begins with a capital, except where it begins with a name of the user's (`sentence` says that it does not).
    """

    template: str
    values: Mapping[str, "Cell"] = field(default_factory=dict)
    tone: str = "plain"
    sentence: bool = False
    rank: int = LAST

    @property
    def text(self) -> str:
        """The paragraph as printed (user text in it is not yet escaped)."""
        filled = {
            name: numbers.worded(value) if isinstance(value, str) else value.text for name, value in self.values.items()
        }
        said = self.template.format(**filled)
        starts_with_a_name = self.template.startswith("{") and not self.sentence
        return said if starts_with_a_name else said[:1].upper() + said[1:]


@dataclass(frozen=True)
class Where:
    """The cell that leads to a section, by its title."""

    title: str

    @property
    def text(self) -> str:
        """The section's title."""
        return self.title


Cell = Number | Text | Where | str


@dataclass(frozen=True)
class Items:
    """Names and values, two columns."""

    rows: Sequence[tuple[str, Cell]]
    rank: int = LAST


@dataclass(frozen=True)
class Table:
    """A captioned table; the unit of a column stands in its head, so cells print bare, unless `units_in_cells`. `by_hand`: its empty
    cells are written in on paper, and need room for that.
    """

    caption: str
    head: Sequence[str]
    rows: Sequence[Sequence[Cell]]
    units_in_cells: bool = False
    rank: int = LAST
    by_hand: bool = False


@dataclass(frozen=True)
class Picture:
    """A figure by name; what is drawn is decided in `plots`, from the files that `source` names."""

    name: str
    caption: str
    alt: str
    source: str = ""
    rank: int = LAST


@dataclass(frozen=True)
class Listing:
    """Lines to copy as they stand: the text of a file."""

    caption: str
    text: str
    rank: int = LAST


Part = Text | Items | Table | Picture | Listing
P = TypeVar("P", bound=Part)


def ranked(rank: int, parts: Sequence[P]) -> list[P]:
    """The parts with this rank."""
    return [replace(part, rank=rank) for part in parts]


@dataclass(frozen=True)
class Section:
    """A headed part of the sheet."""

    title: str
    parts: Sequence[Part]


def reasons_once(section: Section) -> Section:
    """The section with each reason of a null printed once a table; further cells with it say only that nothing is
    given.
    """
    return replace(section, parts=[_once(part) if isinstance(part, Table) else part for part in section.parts])


def _once(table: Table) -> Table:
    seen: set[str] = set()
    rows: list[list[Cell]] = []
    for row in table.rows:
        rows.append([])
        for cell in row:
            if isinstance(cell, Number) and cell.value is None and cell.why:
                rows[-1].append(replace(cell, brief=cell.brief or cell.why in seen))
                seen.add(cell.why)
            else:
                rows[-1].append(cell)
    return replace(table, rows=rows)


def numbers_of(section: Section) -> list[Number]:
    """Every number that a section shows, in reading order."""
    return [number for part in section.parts for number in numbers_in(part)]


def numbers_in(part: Part) -> list[Number]:
    """Every number that a part shows, in reading order."""
    if isinstance(part, Text):
        cells = list(part.values.values())
    elif isinstance(part, Items):
        cells = [cell for _, cell in part.rows]
    elif isinstance(part, Table):
        cells = [cell for row in part.rows for cell in row]
    else:
        cells = []
    return [one for cell in cells for one in _numbers(cell)]


def _numbers(cell: Cell) -> list[Number]:
    if isinstance(cell, Number):
        return [cell]
    return [one for value in cell.values.values() for one in _numbers(value)] if isinstance(cell, Text) else []


def shown(cell: Cell, *, bare: bool = False) -> str:
    """A cell as printed; `bare` without the unit, which the head of the column names."""
    if isinstance(cell, Number) and bare:
        return cell.bare
    return cell if isinstance(cell, str) else cell.text


def _table(part: Table | Items) -> PrintedTable:
    if isinstance(part, Items):
        return PrintedTable(rows=[[name, shown(value)] for name, value in part.rows])
    rows = [[shown(cell, bare=not part.units_in_cells) for cell in row] for row in part.rows]
    return PrintedTable(caption=part.caption, head=list(part.head), rows=rows)


def printed(sections: Sequence[Section]) -> list[PrintedSection]:
    """The sections for sheet.json: title, text as printed, and every number with its unit, file and key."""
    return [
        PrintedSection(
            title=section.title,
            text=[part.text for part in section.parts if isinstance(part, Text)],
            figures=[
                PrintedFigure(name=part.name, caption=part.caption)
                for part in section.parts
                if isinstance(part, Picture)
            ],
            tables=[_table(part) for part in section.parts if isinstance(part, Table | Items)],
            listings=[
                PrintedListing(caption=part.caption, text=part.text)
                for part in section.parts
                if isinstance(part, Listing)
            ],
            numbers=[number.printed() for number in numbers_of(section)],
        )
        for section in sections
    ]
