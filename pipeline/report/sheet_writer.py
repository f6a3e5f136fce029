"""Parts of the sheet as its template reads them: strings alone, the widths of columns, and what a place has room for.

A part that a place has no room for is cut there and says so; whole it stands in the appendix. Nothing is left out.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any

from matplotlib.ft2font import FT2Font, LoadFlags

from pipeline.report.document import Cell, Items, Listing, Part, Picture, Table, Text, Where, numbers_in, shown
from pipeline.report.sections.issue import TitleLines
from pipeline.report.typeface import BOLD, FACE, font_folder, legible
from pipeline.report.typeset import breakable

WIDTH = 510.0  # text width in points: A4 less two margins of 15 mm
CELL_SIZE = 6.6
GAP = 4.5  # between the columns of a table
MOST_LINES = 24  # of a listing
MOST_CHARACTERS = 10_000  # of one text
MOST_ROWS = 200  # of a table in the appendix
MOST_IN_CELL = 260  # characters of a cell in front
MOST_KEPT = 1200  # characters of a row that is not parted over two pages
SHORT = 64  # characters of a name and value that share a line with another
PICTURE_SIZE = re.compile(rb'<svg[^>]*? width="([0-9.]+)[^>]*? height="([0-9.]+)')


@dataclass(frozen=True)
class Room:
    """What a place has room for: parts up to a rank, so many parts of a section, rows of a table, characters of a text, and the
    height of a picture in points.
    """

    rank: int
    parts: int
    rows: int
    characters: int
    picture: float

    @property
    def cell(self) -> int:
        """Characters of a cell: a long one is cut before a text is."""
        return self.characters if self.rows >= MOST_ROWS else min(self.characters, MOST_IN_CELL)


WHOLE = Room(rank=9, parts=10**6, rows=MOST_ROWS, characters=MOST_CHARACTERS, picture=560.0)


def words(cell: Cell, *, bare: bool = False) -> str:
    """A cell as text; one that would fill a dozen pages is cut and says so."""
    text = shown(cell, bare=bare)
    if len(text) <= MOST_CHARACTERS:
        return text
    return f"{text[:MOST_CHARACTERS]} … ({len(text) - MOST_CHARACTERS} further characters stand in sheet.html)"


class Writer:
    """Writes parts for the template; remembers whether a sign cannot be printed."""

    def __init__(self, pictures: Mapping[str, bytes], places: Mapping[str, int]) -> None:
        self.pictures, self.places = pictures, places
        self.unprintable = False

    def text(self, text: str) -> str:
        """A text that the typeface can print, to be broken where a word is long."""
        printable = legible(text)
        self.unprintable = self.unprintable or printable != text
        return breakable(printable)

    def title_lines(self, stated: TitleLines) -> dict[str, Any]:
        """The title block: its lines with what is written on them, and the text for the customer."""
        return {
            "language": stated.language,
            "lines": [[self.text(name), self.text(value)] for name, value in stated.lines],
            "text": [self.text(line) for line in stated.text],
        }

    def part(self, part: Part, room: Room = WHOLE, label: str = "") -> tuple[dict[str, Any], bool]:
        """A part by its kind, and whether it was cut to the room."""
        if isinstance(part, Text):
            text, cut = clipped(words(part), room.characters)
            return {"kind": "text", "text": self.text(text), "tone": part.tone}, cut
        if isinstance(part, Picture):
            return self.picture(part, room, label), False
        if isinstance(part, Listing):
            return self.listing(part), False
        if isinstance(part, Items):
            return self.items(part, room)
        return self.table(part, room, label)

    def picture(self, part: Picture, room: Room, label: str) -> dict[str, Any]:
        """A figure with the height that it has room for; one that is not there is said to be missing."""
        content = self.pictures.get(part.name)
        return {
            "kind": "picture",
            "label": label,
            "file": f"{part.name}.svg" if content else None,
            "height": min(drawn_height(content), room.picture) if content else 0.0,
            "alt": self.text(part.alt),
            "caption": self.text(part.caption),
            "source": self.text(part.source),
        }

    def listing(self, part: Listing) -> dict[str, Any]:
        """Lines as they stand; the first of a long text."""
        lines = part.text.splitlines()
        cut = [f"... {len(lines) - MOST_LINES} further lines stand in sheet.html"] if len(lines) > MOST_LINES else []
        text = "\n".join(self.text(line) for line in lines[:MOST_LINES] + cut)
        return {"kind": "listing", "caption": self.text(part.caption), "text": text}

    def items(self, part: Items, room: Room) -> tuple[dict[str, Any], bool]:
        """Names and values."""
        told = [[clipped(words(cell), room.cell) for cell in row] for row in part.rows[: room.rows]]
        rows = [
            [self._cell(cell, text) for cell, (text, _) in zip(row, texts, strict=True)]
            for row, texts in zip(part.rows, told, strict=False)
        ]
        pairs = all(len(text) <= SHORT for row in told for text, _ in row) and len(rows) > 3
        cut = len(part.rows) > room.rows or any(cut for row in told for _, cut in row)
        return {"kind": "items", "rows": rows, "pairs": pairs}, cut

    def table(self, part: Table, room: Room, label: str) -> tuple[dict[str, Any], bool]:
        """A table with the widths of its columns."""
        bare = not part.units_in_cells
        told = [[clipped(words(cell, bare=bare), room.cell) for cell in row] for row in part.rows[: room.rows]]
        texts = [[text for text, _ in row] for row in told]
        led = [
            [text + ", p. 00" * isinstance(cell, Where) for text, cell in zip(row, cells, strict=True)]
            for row, cells in zip(texts, part.rows, strict=False)
        ]
        content = {
            "kind": "table",
            "label": label,
            "caption": self.text(part.caption),
            "source": self.text(source_of(part)),
            "head": [self.text(name) for name in part.head],
            "widths": by_hand(part, texts)
            if part.by_hand
            else widths(part.head, [[legible(text) for text in row] for row in led]),
            "rows": [
                [self._cell(cell, text) for cell, text in zip(cells, row, strict=True)]
                for cells, row in zip(part.rows, texts, strict=False)
            ],
            "kept": [sum(map(len, row)) < MOST_KEPT for row in texts],
            "blank": [part.by_hand] * len(texts),
            "of": len(part.rows),
        }
        return content, len(part.rows) > room.rows or any(cut for row in told for _, cut in row)

    def _cell(self, cell: Cell, text: str) -> dict[str, Any]:
        written: dict[str, Any] = {"text": self.text(text)}
        if isinstance(cell, Where) and cell.title in self.places:
            written["part"] = f"part-{self.places[cell.title]}"
        if isinstance(cell, Text) and cell.tone != "plain":
            written["tone"] = cell.tone
        return written


def clipped(text: str, most: int) -> tuple[str, bool]:
    """The text cut at a word to so many characters, and whether it was."""
    if len(text) <= most:
        return text, False
    head = text[:most]
    return f"{head[: head.rfind(' ')] if head.rfind(' ') > most // 2 else head} …", True


def source_of(part: Part) -> str:
    """The files that a part's numbers were read from, in short: names of the compound's own, one for all tests."""
    if isinstance(part, Picture):
        return part.source
    return ", ".join(dict.fromkeys(short_name(number.file) for number in numbers_in(part)))


def short_name(file: str) -> str:
    """`compounds/m/friction.json` as `friction.json`, `tests/a/drift.json` as `tests/*/drift.json`."""
    folder, _, rest = file.partition("/")
    if folder == "compounds":
        return rest.partition("/")[2]
    return f"{folder}/*/{rest.partition('/')[2]}" if folder in ("tests", "archive") else file


def drawn_height(content: bytes) -> float:
    """Height in points of a picture set to the width of the text."""
    found = PICTURE_SIZE.search(content[:2000])
    return WIDTH * float(found[2]) / float(found[1]) if found and float(found[1]) else 200.0


def widths(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[float]:
    """Column widths in points: no word broken where the page allows it, the rest by the length of the texts."""
    columns = list(zip(head, *rows, strict=True)) if rows else [(name,) for name in head]
    least = [max(_width(word, BOLD) for text in column for word in text.split() or [""]) + GAP for column in columns]
    wanted = [min(max(_width(text, FACE) for text in column), 0.5 * WIDTH) + GAP for column in columns]
    room = WIDTH - sum(least)
    if room <= 0:
        return _levelled(least)
    more = [max(want - need, 1.0) for want, need in zip(wanted, least, strict=True)]
    return [round(need + room * extra / sum(more), 3) for need, extra in zip(least, more, strict=True)]


def by_hand(table: Table, rows: Sequence[Sequence[str]]) -> list[float]:
    """Column widths in points of a table to be written in: columns without any text have half as much room again as the others."""
    empty = [not any(row[place] for row in rows) for place in range(len(table.head))]
    share = WIDTH / sum(1.5 if one else 1.0 for one in empty)
    return [1.5 * share if one else share for one in empty]


def _levelled(wanted: Sequence[float]) -> list[float]:
    """`wanted` cut to the page: the widest columns give first, so that one long word leaves the others their room."""
    given = [0.0] * len(wanted)
    room = WIDTH
    for place, (index, width) in enumerate(sorted(enumerate(wanted), key=lambda item: item[1])):
        given[index] = min(width, room / (len(wanted) - place))
        room -= given[index]
    return given


@lru_cache(maxsize=20_000)
def _width(text: str, face: str) -> float:
    """Width in points as set in a table; kerning is left out."""
    return CELL_SIZE * sum(_advance(face, character) for character in text)


@cache
def _font(face: str) -> FT2Font:
    return FT2Font(str(font_folder() / face))


@cache
def _advance(face: str, character: str) -> float:
    """Advance of a character over the size of the type."""
    font = _font(face)
    glyph = font.load_char(ord(character), flags=LoadFlags.NO_SCALE)
    return float(glyph.horiAdvance) / float(font.units_per_EM)
