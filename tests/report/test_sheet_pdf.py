"""sheet.pdf read back: it takes whatever a user may write, is tagged and linked, and the same data give the same bytes."""

import hashlib
import io
import os
import subprocess
import sys
from datetime import date

import pytest
from pypdf import PdfReader

from pipeline.report import sheet_pdf, sheet_writer
from pipeline.report.document import FRONT, LAST, Items, Listing, Number, Picture, Section, Table, Text, Where
from pipeline.report.typeface import BOLD
from pipeline.report.typeset import BREAK
from tests.conftest import REPO

LONG = {
    "a long procedure": "brake from 1500 to 500 rpm at 40 bar, then wait; " * 170,
    "a long word": "x" * 400,
    "a word over pages": "y" * 3000,
    "a long note with long words": " ".join("z" * 150 for _ in range(20)),
}
MARKUP = '#panic("x") *bold* _under_ $x^2$ `raw` "quoted" \'single\' @ref <label> \\ // = head - item -- ... #let a = 1 ~ {b} [c] %d'
SQUARE = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="70" height="30"><rect width="50" height="20" fill="#246"/></svg>'
)


def pages_of(pdf):
    """Text of every page, as a reader extracts it; places to break a word are nothing to read."""
    return [" ".join(page.extract_text().replace(BREAK, "").split()) for page in PdfReader(io.BytesIO(pdf)).pages]


def built(*sections, pictures=None, title="A sheet", **options):
    return sheet_pdf.build(title, "method", list(sections), pictures or {}, **options)


BY_DEFAULT = ("a long word", "a word over pages")


@pytest.mark.parametrize(
    "text",
    [pytest.param(text, id=name, marks=[pytest.mark.heavy] * (name not in BY_DEFAULT)) for name, text in LONG.items()],
)
@pytest.mark.parametrize("columns", [pytest.param(2, marks=pytest.mark.heavy), 7])
def test_a_cell_of_any_length_prints_whole(text, columns):
    row = [text if i % 3 == 0 else f"cell {i}" for i in range(columns)]
    parts = [
        Table("A caption", [f"Head {i}" for i in range(columns)], [row] * 2),
        Items([("Procedure", text), (text, "value")]),
        Text("{said}", {"said": text}),
        Text("{said}", {"said": text}, "bad"),
    ]
    pdf = built(Section("Identity", parts), Section(text[:200], parts[:1]), title=text[:60])
    read = "".join("".join(pages_of(pdf)).split())
    # a cell over two pages is read with the foot of the page between: its letters are counted, not its words
    times = 2 * (2 * sum(i % 3 == 0 for i in range(columns))) + 4
    letter = max(set(text) - {" "}, key=text.count)
    assert read.count(letter) >= times * text.count(letter)


@pytest.mark.parametrize("columns", [1, 2, 7, 14, 30])
def test_columns_fill_the_page_and_none_is_too_narrow_for_a_letter(columns):
    head, rows = [f"h{i}" for i in range(columns)], [["w" * 300, *["a b"] * (columns - 1)]]
    widths = sheet_writer.widths(head, rows)
    assert sum(widths) == pytest.approx(sheet_writer.WIDTH, abs=0.1)
    assert min(widths) - sheet_writer.GAP > sheet_writer._width("W", BOLD)
    for name, width in zip(head, widths, strict=True):
        assert width - sheet_writer.GAP > sheet_writer._width(name, BOLD) - 0.01


def test_a_text_of_many_pages_is_cut_and_says_so():
    shown = sheet_writer.words("y" * 50_000)
    assert shown.startswith("y" * 10_000 + " …")
    assert "40000 further characters stand in sheet.html" in shown
    assert sheet_writer.words("z" * 8000) == "z" * 8000


def test_nothing_that_a_user_wrote_is_read_as_markup():
    parts = [
        Text("{said}", {"said": MARKUP}),
        Table(MARKUP, [MARKUP, "b"], [[MARKUP, "c"]]),
        Items([(MARKUP, "value")]),
        Listing("Lines", MARKUP),
        Picture("p", MARKUP, MARKUP),
    ]
    pdf = built(Section(MARKUP, parts), pictures={"p": SQUARE}, title=MARKUP)
    assert "".join("".join(pages_of(pdf)).split()).count("".join(MARKUP.split())) >= 8
    assert PdfReader(io.BytesIO(pdf)).metadata.title == MARKUP


def test_other_scripts_print_and_signs_that_cannot_be_printed_are_told():
    readable = pages_of(built(Section("S", [Text("{a}", {"a": "Вереск µ χ² Łódź"})])))[0]
    assert "Вереск µ χ² Łódź" in readable
    assert "U+" not in readable
    told = pages_of(built(Section("S", [Items([("Batch", "東-7")])])))[0]
    assert "[U+6771]-7" in told
    assert "Signs that the typeface of this print does not have stand as their Unicode numbers" in told


def full():
    number = Number("mu", 0.44, "", "compounds/m/friction.json", "/mu", 0.43, 0.45)
    front = Table("Answers", ["Question", "Where"], [["Does it hold?", Where("Friction")]])
    texts = [Text("{n} of the plain kind", {"n": str(k)}, rank=FRONT if k < 2 else LAST) for k in range(4)]
    doubts = [Text("{n} is open", {"n": str(k)}, "open", rank=FRONT if k < 4 else LAST) for k in range(6)]
    table = Table("Mean", ["µ"], [[number]], rank=FRONT)
    picture = Picture("p", "A figure", "alt", "tests/*/stops.parquet", FRONT)
    return Section("Answers", [front]), Section("Friction", [*texts, *doubts, table, picture])


def test_it_is_tagged_outlined_linked_numbered_and_dated():
    digests = {"compounds/m/friction.json": "0123456789abcdef" * 4}
    pdf = built(
        *full(),
        pictures={"p": SQUARE},
        dated=date(2026, 3, 9),
        sources=sheet_pdf.Sources(digests, {"compounds/m/friction.json": "7 tests"}),
    )
    reader = PdfReader(io.BytesIO(pdf))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/StructTreeRoot"]
    assert root["/Lang"].startswith("en")
    assert b"pdfuaid" in root["/Metadata"].get_data()
    assert reader.metadata["/CreationDate"].startswith("D:20260309")
    outline = [entry["/Title"] for entry in reader.outline if not isinstance(entry, list)]
    assert [title.split(maxsplit=1)[-1] for title in outline][:2] == ["Answers", "Friction"]
    assert [round(float(side)) for side in reader.pages[0].mediabox[2:]] == [595, 842]  # A4
    links = [note.get_object() for page in reader.pages for note in page.get("/Annots", [])]
    assert {link["/Subtype"] for link in links} == {"/Link"}
    read = pages_of(pdf)
    assert all(f"page {k} of {len(read)}" in text for k, text in enumerate(read, 1))
    assert "Friction, p. 2" in read[0]
    assert "Table 2: Mean. Source: friction.json." in read[1]
    assert "Figure 1: A figure Source: tests/*/stops.parquet." in read[1]
    assert "Friction Mean compounds/m/friction.json /mu" in read[-1]
    assert "compounds/m/friction.json 1 7 tests 0123456789abcdef" in read[-1]


def test_what_stands_in_the_appendix_is_told_with_its_reservations():
    read = pages_of(built(*full()))
    assert "In full in the appendix, p. 3: 4 further parts, of them 2 reservations" in read[1]
    assert "5 is open" in read[2] and "5 is open" not in read[1]


SCRIPT = """
import hashlib, datetime
from tests.report.test_sheet_pdf import SQUARE, full
from pipeline.report import sheet_pdf, sheet_writer
pdf = sheet_pdf.build("t", "u", list(full()), {"p": SQUARE}, dated=datetime.date(2026, 3, 9))
print(hashlib.sha256(pdf).hexdigest())
"""


@pytest.mark.heavy
def test_the_bytes_are_the_same_in_any_locale_and_time_zone(tmp_path):
    here = sheet_pdf.build("t", "u", list(full()), {"p": SQUARE}, dated=date(2026, 3, 9))
    for zone, locale in (("Pacific/Kiritimati", "tr_TR.UTF-8"), ("America/Adak", "C")):
        done = subprocess.run(
            [sys.executable, "-c", SCRIPT], cwd=tmp_path, capture_output=True, text=True, check=True,
            env=os.environ | {"PYTHONPATH": str(REPO), "TZ": zone, "LC_ALL": locale, "PYTHONHASHSEED": "7"},
        )  # fmt: skip
        assert done.stdout.strip() == hashlib.sha256(here).hexdigest(), zone
