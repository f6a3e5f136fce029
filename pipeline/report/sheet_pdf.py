"""The sheet as PDF, A4, typeset by Typst: same document, same numbers; identical input gives identical bytes.

The document becomes one JSON (strings alone, `report/sheet_writer.py`) and its figures SVG; how they look is the template's,
templates/sheet.typ. Page one is the first section. In front stands what a reader must have, by the parts' ranks, on
`MOST_PAGES` pages whatever the archive holds: the page is set, its pages are counted, and while they are too many less
has room there (`FIRST`, `FRONT`). What has no room, or was cut, stands whole in the appendix, and each section says how
much of it does. The appendix ends with the sources: which files and keys each table, figure and text was read from, and
the files' digests.
"""

from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from typing import Any

from pipeline.report.document import FRONT as RANKED
from pipeline.report.document import Part, Picture, Section, Table, Text, numbers_in
from pipeline.report.sections.issue import TitleLines
from pipeline.report.sheet_writer import WHOLE, Room, Writer, clipped
from pipeline.report.typeset import Setting
from pipeline.wording import counted

TEMPLATE = "sheet.typ"
MOST_PAGES = 6  # in front of the appendix, page one among them
LATE = ("Rig and method", "Data quality")  # sections that follow the others in front of the last
DIGITS = 16  # of a digest
MOST_FOOT = 60  # characters of the title at the foot of a page
MOST_KEYS = 3  # of a part, in the table of sources
FIRST = (
    Room(rank=9, parts=30, rows=12, characters=700, picture=330.0),
    Room(rank=9, parts=30, rows=12, characters=700, picture=290.0),
    Room(rank=9, parts=30, rows=12, characters=600, picture=265.0),
    Room(rank=9, parts=30, rows=12, characters=450, picture=255.0),
    Room(rank=9, parts=16, rows=12, characters=330, picture=245.0),
    Room(rank=9, parts=14, rows=12, characters=240, picture=230.0),
    Room(rank=9, parts=12, rows=10, characters=160, picture=210.0),
    Room(rank=9, parts=9, rows=9, characters=90, picture=180.0),
    Room(rank=9, parts=9, rows=9, characters=90, picture=150.0),
    Room(rank=9, parts=8, rows=9, characters=70, picture=140.0),
    Room(rank=9, parts=7, rows=9, characters=48, picture=130.0),
)
FRONT = (
    Room(rank=3, parts=40, rows=14, characters=1500, picture=230.0),
    Room(rank=2, parts=40, rows=12, characters=1200, picture=200.0),
    Room(rank=2, parts=30, rows=12, characters=1000, picture=180.0),
    Room(rank=2, parts=30, rows=10, characters=900, picture=160.0),
    Room(rank=1, parts=30, rows=16, characters=1200, picture=210.0),
    Room(rank=1, parts=30, rows=12, characters=900, picture=190.0),
    Room(rank=1, parts=24, rows=10, characters=800, picture=170.0),
    Room(rank=1, parts=20, rows=8, characters=700, picture=155.0),
    Room(rank=1, parts=16, rows=7, characters=450, picture=145.0),
    Room(rank=1, parts=14, rows=6, characters=300, picture=135.0),
    Room(rank=1, parts=12, rows=5, characters=200, picture=120.0),
    Room(rank=1, parts=9, rows=4, characters=140, picture=100.0),
    Room(rank=1, parts=7, rows=3, characters=90, picture=80.0),
)


@dataclass(frozen=True)
class Sources:
    """What the appendix tells of where the numbers were read: digests of files by the names they are cited under, and what
    of tests and stops is behind a file.
    """

    digests: Mapping[str, str | None] = field(default_factory=dict)
    behind: Mapping[str, str] = field(default_factory=dict)


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
    files = {f"{name}.svg": picture for name, picture in pictures.items()}
    fixed: dict[str, Any] = {"dated": dated, "sources": sources, "stated": stated}

    def setting(first: int, front: int, *, ahead: bool = False, alone: bool = False) -> Setting:
        rooms = FIRST[first], FRONT[front]
        data = content(title, under, sections, pictures, **fixed, rooms=rooms, ahead=ahead, alone=alone)
        return Setting(TEMPLATE, data | {"unprintable": unprintable}, files)

    unprintable = content(title, under, sections, pictures, **fixed)["unprintable"]

    @cache
    def pages(first: int, front: int, *, alone: bool = False) -> tuple[int, int]:
        """Pages of the first section, `alone` set without what follows it, and of all that stands in front."""
        one, all_ = setting(first, front, ahead=True, alone=alone).asked("<ends>")
        return int(one), int(all_)

    first = _roomiest(len(FIRST), lambda k: pages(k, 0, alone=True)[0] == 1)
    front = _roomiest(len(FRONT), lambda k: pages(first, k)[1] < MOST_PAGES + pages(first, k)[0])
    return setting(first, front).made(form)


def _roomiest(count: int, fits: Callable[[int], bool]) -> int:
    """The first of `count` rooms, each smaller than the one before, that what must stand there fits; else the last."""
    return bisect_left(range(count - 1), True, key=fits)


def content(
    title: str,
    under: str,
    sections: Sequence[Section],
    pictures: Mapping[str, bytes],
    *,
    dated: date | None = None,
    sources: Sources | None = None,
    stated: TitleLines | None = None,
    rooms: tuple[Room, Room] = (FIRST[0], FRONT[0]),
    ahead: bool = False,
    alone: bool = False,
) -> dict[str, Any]:
    """What the template reads: texts, tables with the widths of their columns, names of pictures; `ahead`: without the appendix;
    `alone`: the first section without the others.
    """
    writer = Writer(pictures, {section.title: index for index, section in enumerate(sections)})
    body, appendix = list[dict[str, Any]](), list[dict[str, Any]]()
    ordered = sorted(enumerate(sections), key=lambda one: _place(one[0], one[1], len(sections)))
    for index, section in ordered[:1] if alone else ordered:
        front, behind = written(writer, index, section, rooms[0 if index == 0 else 1], ahead=ahead)
        if front["parts"] or index == 0:
            body.append(front)
        if behind["parts"] and not ahead:
            alone = not front["parts"]
            behind["title"] = front["title"] if alone else f"{front['title']}: in full"
            behind["label"] = front["label"] if alone else behind["label"]
            appendix.append(behind)
    return {
        "title": writer.text(title),
        "under": writer.text(under),
        "foot": writer.text(foot(title, under)),
        "date": [dated.year, dated.month, dated.day] if dated else None,
        "stated": writer.title_lines(stated or TitleLines.blank()),
        "body": body,
        "appendix": appendix,
        "sources": _source_tables(writer, sections, sources) if sources and not ahead else [],
        "unprintable": writer.unprintable,
    }


def foot(title: str, under: str) -> str:
    """What stands at the foot of every page, in one line."""
    return f"{clipped(title, MOST_FOOT)[0]}. {under}"


def _place(index: int, section: Section, count: int) -> float:
    return count - 1.5 if section.title in LATE else index


def written(
    writer: Writer, index: int, section: Section, room: Room, *, ahead: bool = False
) -> tuple[dict[str, Any], dict[str, Any]]:
    """The section as it stands in front, and what of it stands in the appendix (`ahead`: counted, not written), each with
    its title, label and parts.
    """
    front, behind, reserved = list[dict[str, Any]](), list[dict[str, Any]](), 0
    for place, part in enumerate(section.parts):
        label = f"{index}-{place}"
        if (index == 0 or part.rank <= room.rank) and len(front) < room.parts:
            uncut = index == 0 and part.rank == RANKED  # of page one what must never be cut
            shown, cut = writer.part(part, WHOLE if uncut else room, f"front-{label}")
            front.append(shown)
            if not cut:
                continue
            shown["whole"] = f"whole-{label}"
        whole = {} if ahead else writer.part(part, WHOLE, f"whole-{label}")[0]
        behind.append(whole if "label" in whole else whole | {"mark": f"whole-{label}"})
        reserved += isinstance(part, Text) and part.tone in ("bad", "open")
    title = writer.text(section.title[:200])
    shown = {"title": title, "label": f"part-{index}", "parts": front, "behind": _told(len(behind), reserved)}
    return shown, {"title": title, "label": f"more-{index}", "parts": behind}


def _told(behind: int, reserved: int) -> str:
    """What of a section stands in the appendix, in words; "" for nothing."""
    if not behind:
        return ""
    return counted(behind, "further part") + (f", of them {counted(reserved, 'reservation')}" if reserved else "")


def _source_tables(writer: Writer, sections: Sequence[Section], sources: Sources) -> list[dict[str, Any]]:
    """Which files and keys every table, figure and text was read from; and the digest of each file, with what is behind it."""
    read, cited = list[list[str]](), dict[str, int]()
    for section in sections:
        for part in section.parts:
            keys: dict[str, list[str]] = {}
            for number in numbers_in(part):
                keys.setdefault(number.file, []).append(number.key)
                cited[number.file] = cited.get(number.file, 0) + 1
            told = "; ".join(f"{file} {', '.join(_keys(found))}" for file, found in keys.items())
            if isinstance(part, Picture):
                told = part.source
            if told:
                read.append([section.title, _called(part), told])
    parts = Table(
        "What every table, figure and text was read from: files and keys (those of single numbers stand in sheet.json)",
        ["Part", "Table, figure or text", "Files and keys"],
        read,
    )
    rows = [
        [
            file,
            str(count),
            sources.behind.get(file) or "–",
            (sources.digests.get(file) or "")[:DIGITS] or ("several files" if "*" in file else "not found"),
        ]
        for file, count in sorted(cited.items())
    ]
    head = ["File", "Numbers", "Tests and stops behind it", f"SHA-256, first {DIGITS} digits"]
    files = Table("Files that the numbers were read from, with what is behind them", head, rows)
    return [writer.part(table, WHOLE, f"sources-{k}")[0] for k, table in enumerate((parts, files))]


def _called(part: Part) -> str:
    """What a part is called among the sources: its caption, or how a text begins."""
    if isinstance(part, Table | Picture):
        return part.caption[:90]
    return f"“{part.template[:60]} …”" if isinstance(part, Text) else "Names and values"


def _keys(found: Sequence[str]) -> list[str]:
    """The keys with `*` for what runs through them, the first of many."""
    alike = list(dict.fromkeys("/".join("*" if step.isdigit() else step for step in key.split("/")) for key in found))
    return [*alike[:MOST_KEYS], *([f"and {len(alike) - MOST_KEYS} others"] if len(alike) > MOST_KEYS else [])]
