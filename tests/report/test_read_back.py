"""Every number of sheet.pdf is sheet.json's: a figure that is printed otherwise than listed is found, wherever it stands."""

import json
import re

import pytest

from pipeline.report import document, sheet, sheet_pdf
from pipeline.report.document import Number, Section, Table
from tests.report import makers
from tests.report.read_back import differences, pages_of

PLANTED = 30  # figures that are planted, spread over the print


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return sheet.made(**makers.results_of_compound(tmp_path_factory.mktemp("read"), ("m4-a", "m4-b", "m4-c")))


@pytest.fixture(scope="module")
def content(made):
    into = made.loaded.files["compounds/marram-4/friction.json"].parent
    sheet.print_json(made, into / "sheet.json")
    return json.loads((into / "sheet.json").read_text())


@pytest.fixture(scope="module")
def pages(made):
    return pages_of(sheet.pdf_of(made))


def test_the_print_holds_all_that_the_json_lists_and_no_other_number(made, content, pages):
    assert differences(pages, content, made.title, made.under) == []


def test_a_digit_that_is_printed_otherwise_is_found_wherever_it_stands(made, content, pages):
    whole = "\f".join(pages)
    whole = whole[: whole.index("Sources of the figures")]
    figures = [one for one in re.finditer(r"(?<![\w.,:])\d+\.\d+(?![\w.])", whole)]
    assert len(figures) > 200
    for one in figures[:: len(figures) // PLANTED]:
        last = str((int(one[0][-1]) + 1) % 10)
        wrong = whole[: one.end() - 1] + last + whole[one.end() :]
        assert differences(wrong.split("\f"), content, made.title, made.under), one[0]


def test_a_figure_of_the_document_that_is_not_the_json_s_is_found(made, content):
    """The document is set with one other value: its row is missing, its number left over."""
    sections, changed = list[Section](), 0
    for section in made.sections:
        parts = list(section.parts)
        for place, part in enumerate(parts):
            if not changed and isinstance(part, Table) and section.title == "Batches":
                rows = [list(row) for row in part.rows]
                old = rows[0][2]
                assert isinstance(old, Number) and old.value is not None
                rows[0][2] = document.replace(old, value=old.value + 0.004)
                parts[place], changed = document.replace(part, rows=rows), 1
        sections.append(Section(section.title, parts))
    assert changed
    pdf = sheet_pdf.build(made.title, made.under, sections, made.images)
    found = differences(pages_of(pdf), content, made.title, made.under)
    assert any(one.startswith("missing") for one in found) and any(one.startswith("left over") for one in found)
