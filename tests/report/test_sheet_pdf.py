"""The PDF takes whatever a user may write: long procedures, words longer than a line, many columns."""

import pytest

from pipeline.report import sheet_pdf
from pipeline.report.document import Items, Section, Table, Text

LONG = {
    "a long procedure": "brake from 1500 to 500 rpm at 40 bar, then wait; " * 170,
    "a long word": "x" * 400,
    "a word over pages": "y" * 3000,
    "a long note with long words": " ".join("z" * 150 for _ in range(20)),
}


@pytest.mark.parametrize("text", LONG.values(), ids=LONG.keys())
@pytest.mark.parametrize("columns", [2, 7])
def test_a_cell_of_any_length_prints(text, columns):
    row = [text if i % 3 == 0 else f"cell {i}" for i in range(columns)]
    parts = [
        Table("A caption", [f"Head {i}" for i in range(columns)], [row] * 2),
        Items([("Procedure", text), (text, "value")]),
        Text("{said}", {"said": text}),
        Text("{said}", {"said": text}, "bad"),
    ]
    built = sheet_pdf.build(text[:60], "method", [Section("Identity", parts), Section(text[:200], parts[:1])], {})
    assert built.startswith(b"%PDF")


@pytest.mark.parametrize("columns", [1, 2, 7, 14, 30])
def test_columns_fill_the_page_and_none_is_too_narrow_for_a_letter(columns):
    head, rows = [f"h{i}" for i in range(columns)], [["w" * 300, *["a b"] * (columns - 1)]]
    widths = sheet_pdf.widths(head, rows)
    assert sum(widths) == pytest.approx(sheet_pdf.WIDTH)
    assert min(widths) >= 14
    assert min(widths[1:], default=widths[0]) > sheet_pdf._width("h00", "Sheet-Bold")


def test_a_text_of_many_pages_is_cut_and_says_so():
    shown = sheet_pdf.words("y" * 50_000)
    assert shown.startswith("y" * 10_000 + " …")
    assert "40000 further characters stand in sheet.html" in shown
    assert sheet_pdf.words("z" * 8000) == "z" * 8000
