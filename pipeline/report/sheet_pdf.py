"""The sheet as PDF, A4, typeset by Typst: same document, same numbers; identical input gives identical bytes.

The document becomes one JSON (strings alone, `report/typeset.py`) and its figures SVG; how they look is the template's,
templates/sheet.typ. Page one is the first section. What a reader looks up rather than reads stands in an appendix:
whole sections (`APPENDIX`), and of the others the listings, long tables and all but the first texts and tables; each
section says how much of it stands there and where.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from typing import Any

from matplotlib.ft2font import FT2Font, LoadFlags

from pipeline.report.document import Cell, Items, Listing, Number, Picture, Section, Table, Where, numbers_of
from pipeline.report.document import Text as Paragraph
from pipeline.report.sections.issue import TitleLines
from pipeline.report.typeset import BOLD, FACE, breakable, font_folder, legible, typeset

TEMPLATE = "sheet.typ"
WIDTH = 510.0  # text width in points: A4 less two margins of 15 mm
CELL_SIZE = 6.6
GAP = 4.5  # between the columns of a table
MOST_LINES = 120  # of a listing
MOST_CHARACTERS = 10_000  # of one text
APPENDIX = ("Identity", "Rig and method", "Blocks", "Amendments")  # sections that stand behind the others
WHOLE = ("In short", "Restrictions and cautions")  # sections that stand in front as a whole, as the first does
LATE = ("Data quality",)  # sections that follow the others in front of the last
LONG = 9  # rows of a table that stands in front
MOST_IN_FRONT = {"plain": 2, "toned": 4, "table": 3, "items": 2, "picture": 9}  # parts of a section that stand in front
DIGITS = 16  # of a digest
SHORT = 64  # characters of a name and value that share a line with another


@dataclass(frozen=True)
class Sources:
    """What the appendix tells of where the numbers were read: digests of files by the names they are cited under."""

    digests: Mapping[str, str | None] = field(default_factory=dict)


def words(cell: Cell, *, bare: bool = False) -> str:
    """A cell as text; one that would fill a dozen pages is cut and says so."""
    if isinstance(cell, Number):
        text = cell.bare if bare else cell.text
    else:
        text = cell if isinstance(cell, str) else cell.text
    if len(text) <= MOST_CHARACTERS:
        return text
    return f"{text[:MOST_CHARACTERS]} … ({len(text) - MOST_CHARACTERS} further characters stand in sheet.html)"


def build(
    title: str,
    under: str,
    sections: Sequence[Section],
    pictures: Mapping[str, bytes],
    *,
    dated: date | None = None,
    sources: Sources | None = None,
    stated: TitleLines | None = None,
    form: str = "pdf",
) -> Any:
    """The PDF's bytes (`form` "png": those of each page). `pictures`: figures by name as SVG; one that is not there is
    said to be missing. `dated` is the document's date; `stated` what stands in its title block, blank lines without.
    """
    data = content(title, under, sections, pictures, dated=dated, sources=sources, stated=stated)
    return typeset(TEMPLATE, data, {f"{name}.svg": picture for name, picture in pictures.items()}, form)


def content(
    title: str,
    under: str,
    sections: Sequence[Section],
    pictures: Mapping[str, bytes],
    *,
    dated: date | None = None,
    sources: Sources | None = None,
    stated: TitleLines | None = None,
) -> dict[str, Any]:
    """What the template reads: texts, tables with the widths of their columns, names of pictures."""
    writer = _Writer(pictures, {section.title: index for index, section in enumerate(sections)})
    body, appendix = list[dict[str, Any]](), list[dict[str, Any]]()
    for index, section in sorted(enumerate(sections), key=lambda one: _place(one[0], one[1], len(sections))):
        if index and section.title in APPENDIX:
            appendix.append(writer.section(index, section))
            continue
        front, behind = parted(section) if index and section.title not in WHOLE else (section, [])
        body.append({**writer.section(index, front), "behind": len(behind), "reserved": _reserved(behind)})
        if behind:
            rest = Section(f"{section.title}: what else was found", behind)
            appendix.append(writer.section(index, rest, label="more"))
    return {
        "title": writer.text(title),
        "under": writer.text(under),
        "date": [dated.year, dated.month, dated.day] if dated else None,
        "stated": writer.title_lines(stated or TitleLines.blank()),
        "body": body,
        "appendix": appendix,
        "sources": _source_table(writer, sections, sources) if sources else None,
        "unprintable": writer.unprintable,
    }


def _place(index: int, section: Section, count: int) -> float:
    return count - 1.5 if section.title in LATE else index


def _reserved(parts: Sequence[Any]) -> int:
    """How many of the parts are texts that speak against something, or leave it open."""
    return sum(isinstance(part, Paragraph) and part.tone in ("bad", "open") for part in parts)


def parted(section: Section) -> tuple[Section, list[Any]]:
    """The section as it stands in front, and its parts that stand in the appendix, in their order."""
    left = dict(MOST_IN_FRONT)
    front, behind = list[Any](), list[Any]()
    for part in section.parts:
        kind = _kind(part)
        left[kind] = left.get(kind, 0) - 1
        (front if left[kind] >= 0 else behind).append(part)
    return Section(section.title, front), behind


def _kind(part: Any) -> str:
    """What a part counts as in front; a listing, or a table too long for it, has no place there."""
    if isinstance(part, Paragraph):
        return "plain" if part.tone == "plain" else "toned"
    if isinstance(part, Picture):
        return "picture"
    if isinstance(part, Items):
        return "items"
    return "table" if isinstance(part, Table) and len(part.rows) <= LONG else "none"


class _Writer:
    """Writes parts for the template; remembers whether a sign cannot be printed."""

    def __init__(self, pictures: Mapping[str, bytes], places: Mapping[str, int]) -> None:
        self.pictures, self.places = pictures, places
        self.unprintable = False

    def text(self, text: str) -> str:
        """A text that the typeface can print, to be broken where a word is long."""
        shown = legible(text)
        self.unprintable = self.unprintable or shown != text
        return breakable(shown)

    def title_lines(self, stated: TitleLines) -> dict[str, Any]:
        """The title block: its lines with what is written on them, and the text for the customer."""
        return {
            "language": stated.language,
            "lines": [[self.text(name), self.text(value)] for name, value in stated.lines],
            "text": [self.text(line) for line in stated.text],
        }

    def section(self, index: int, section: Section, label: str = "part") -> dict[str, Any]:
        """A section with its parts; `label` with `index` is what links lead to."""
        return {
            "title": self.text(section.title[:200]),
            "label": f"{label}-{index}",
            "parts": [self.part(part) for part in section.parts],
        }

    def part(self, part: Any) -> dict[str, Any]:
        """A part by its kind."""
        if isinstance(part, Paragraph):
            return {"kind": "text", "text": self.text(words(part)), "tone": part.tone}
        if isinstance(part, Picture):
            drawn = f"{part.name}.svg" if part.name in self.pictures else None
            return {"kind": "picture", "file": drawn, "alt": self.text(part.alt), "caption": self.text(part.caption)}
        if isinstance(part, Listing):
            lines = part.text.splitlines()
            cut = ["... further lines stand in sheet.html"] if len(lines) > MOST_LINES else []
            text = "\n".join(self.text(line) for line in lines[:MOST_LINES] + cut)
            return {"kind": "listing", "caption": self.text(part.caption), "text": text}
        if isinstance(part, Items):
            rows = [[self._cell(name), self._cell(value)] for name, value in part.rows]
            pairs = all(len(cell["text"]) <= SHORT for row in rows for cell in row) and len(rows) > 3
            return {"kind": "items", "rows": rows, "pairs": pairs}
        return self.table(part)

    def _cell(self, cell: Cell, *, bare: bool = False) -> dict[str, Any]:
        shown: dict[str, Any] = {"text": self.text(words(cell, bare=bare))}
        if isinstance(cell, Where) and cell.title in self.places:
            shown["part"] = f"part-{self.places[cell.title]}"
        if isinstance(cell, Paragraph) and cell.tone != "plain":
            shown["tone"] = cell.tone
        return shown

    def table(self, part: Table) -> dict[str, Any]:
        """A table with the widths of its columns."""
        texts = [[words(cell, bare=not part.units_in_cells) for cell in row] for row in part.rows]
        led = [
            [text + ", p. 00" * isinstance(cell, Where) for text, cell in zip(*row, strict=True)]
            for row in zip(texts, part.rows, strict=True)
        ]
        return {
            "kind": "table",
            "caption": self.text(part.caption),
            "head": [self.text(name) for name in part.head],
            "widths": widths(part.head, [[legible(text) for text in row] for row in led]),
            "rows": [[self._cell(cell, bare=not part.units_in_cells) for cell in row] for row in part.rows],
            "blank": [not any(row) for row in texts],
        }


def _source_table(writer: _Writer, sections: Sequence[Section], sources: Sources) -> dict[str, Any]:
    """Every file that a number was read from: how many, in which parts, and the file's digest."""
    cited: dict[str, dict[str, int]] = {}
    for section in sections:
        for number in numbers_of(section):
            of_file = cited.setdefault(number.file, {})
            of_file[section.title] = of_file.get(section.title, 0) + 1
    rows: list[list[Cell]] = [
        [
            file,
            str(sum(parts.values())),
            ", ".join(parts),
            (sources.digests.get(file) or "")[:DIGITS] or ("several files" if "*" in file else "not found"),
        ]
        for file, parts in sorted(cited.items())
    ]
    head = ["File", "Numbers", "Parts of the sheet", f"SHA-256, first {DIGITS} digits"]
    caption = "Files that the numbers were read from; the key of each number in its file stands in sheet.json"
    return writer.table(Table(caption, head, rows))


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


def _levelled(wanted: Sequence[float]) -> list[float]:
    """`wanted` cut to the page: the widest columns give first, so that one long word leaves the others their room."""
    given = [0.0] * len(wanted)
    room = WIDTH
    for place, (index, width) in enumerate(sorted(enumerate(wanted), key=lambda item: item[1])):
        given[index] = min(width, room / (len(wanted) - place))
        room -= given[index]
    return given


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
