"""sheet.pdf held against sheet.json: what of the one is not in the other.

The PDF's text is read page by page as a reader extracts it. Every row, text, caption and head that sheet.json lists is looked for and
struck out, whole or as the print cuts it where there is no room; what is left may hold no number but those of pages, tables,
figures and sections. So a figure that is printed otherwise than listed is left over, and its listed form is missing.
"""

from __future__ import annotations

import re
from typing import Any

import pypdfium2

from pipeline.report.sheet_pdf import FIRST, FRONT, foot
from pipeline.report.sheet_writer import MOST_ROWS, clipped, short_name
from pipeline.report.typeface import legible
from pipeline.report.typeset import BREAK

SOURCES = "Sourcesofthefigures"
STRUCTURE = re.compile(
    r"(Table|Figure)\d+|p\.\d+|here\d+of\d+rows(,allinsheet\.html)?|appendix,p\.\d+:\d+furtherparts?(,ofthem\d+reservations?)?|(\.\.\.\d+)?furtherlinesstandinsheet\.html"
)
ROOMS = sorted({most for room in (*FIRST, *FRONT) for most in (room.characters, room.cell)}, reverse=True)


HYPHEN = "\ufffe"  # stands, as it is read, for a hyphen at the end of a line


def pages_of(pdf: bytes) -> list[str]:
    """Text of every page, in the order in which it is set. The compiled reader: one in Python takes seconds for a sheet's figures."""
    document = pypdfium2.PdfDocument(pdf)
    return [page.get_textpage().get_text_range().replace(HYPHEN, "-") for page in document]


def bare(text: str) -> str:
    """Text without what a line break may put into it or take from it."""
    return re.sub(r"\s", "", text.replace(BREAK, ""))


def expected(content: dict[str, Any]) -> list[str]:
    """What sheet.json lists, as it stands whole."""
    found = list[str]()
    for section in content["sections"]:
        found += section["text"]
        found += [figure["caption"] for figure in section["figures"]]
        for table in section["tables"]:
            found += [table["caption"], "".join(table["head"]), *("".join(row) for row in table["rows"])]
    return [bare(legible(text)) for text in found if text]


def cut(content: dict[str, Any]) -> list[str]:
    """The same texts and rows as they are cut where there is no room."""
    found = set[str]()
    for section in content["sections"]:
        rows = [[text] for text in section["text"]] + [row for table in section["tables"] for row in table["rows"]]
        for row in rows:
            longest = max(map(len, row), default=0)
            for most in ROOMS:
                if longest > most:
                    found.add(bare(legible("".join(clipped(cell, most)[0] for cell in row))))
    return sorted(found, key=len, reverse=True)


def differences(pages: list[str], content: dict[str, Any], title: str, under: str, *fixed: str) -> list[str]:
    """What sheet.json lists and the pages do not hold, and the numbers that they hold and it does not; [] for none.

    `title` and `under` stand at the foot of each page; `fixed` are other words of the print that hold digits.
    """
    line = bare(legible(foot(title, under)))
    read = "".join(bare(page).replace(f"{line}page{number}of{len(pages)}", "") for number, page in enumerate(pages, 1))
    wanted = sorted(set(expected(content)), key=len, reverse=True)
    missing = [text for text in wanted if text not in read and text not in further(content) and not listing(text, read)]
    body = read.split(SOURCES)[0]
    body = STRUCTURE.sub("\x00", body)
    for text in (*wanted, *cut(content), *besides(content), *(bare(one) for one in (title, under, *fixed))):
        if re.search(r"\d", text):
            body = body.replace(text, "\x00")
    for section in content["sections"]:
        body = re.sub(rf"\d+(?={re.escape(bare(section['title']))})", "\x00", body)
    body = STRUCTURE.sub("\x00", body)
    return [f"missing: {text}" for text in missing] + [
        f"left over: {body[max(0, one.start() - 60) : one.end() + 30]}" for one in re.finditer(r"\d[\d.]*", body)
    ]


def besides(content: dict[str, Any]) -> list[str]:
    """Lines to copy, of which the first are printed, and the names of files that tables cite."""
    lines = [
        line for section in content["sections"] for one in section["listings"] for line in one["text"].splitlines()
    ]
    files = {short_name(number["file"]) for section in content["sections"] for number in section["numbers"]}
    captions = [one["caption"] for section in content["sections"] for one in section["listings"]]
    return sorted((bare(legible(one)) for one in (*lines, *captions, *files)), key=len, reverse=True)


def further(content: dict[str, Any]) -> set[str]:
    """Rows of long tables that the print does not hold, as its captions say."""
    tables = [table for section in content["sections"] for table in section["tables"]]
    return {bare(legible("".join(row))) for table in tables for row in table["rows"][MOST_ROWS:]}


def listing(text: str, read: str) -> bool:
    """Whether a long text is printed cut, and says so."""
    return len(text) > 9000 and text[:9000] in read
