"""What the user states of a sheet stands on all its prints as stated; what nobody stated stays a blank line."""

import html
import io
import json

import pytest
from pypdf import PdfReader

from pipeline.report import sheet
from pipeline.report.sections.issue import LONGEST, WORDS
from pipeline.report.typeset import BREAK
from tests.report import makers
from tests.report.read_back import pages_of

pytestmark = pytest.mark.usefixtures("undrawn")
STATED = """\
compound: Marram 4
report_number: "=MC-07 <b>&</b>"
issue: C
date: 2026-05-04
prepared: materials engineer
reviewed: head of laboratory
text: |
  For the gate review.
  Replaces issue B.
language: de
amendments:
  - {issue: B, date: 2026-04-20, what: first issue}
  - {issue: C, date: 2026-05-04, what: batch M4-2409 added}
"""


def printed(arguments, text=None):
    """(sheet.json, words of sheet.html, of sheet.pdf, metadata of the PDF) of the document."""
    place = None
    if text is not None:
        place = arguments["into"].parents[3] / "marram-4.yaml"
        place.write_text(text)
    made = sheet.made(**arguments, title_block=place)
    sheet.print_json(made, arguments["into"] / "sheet.json")
    sheet.print_html(made, arguments["into"] / "sheet.html")
    page = html.unescape((arguments["into"] / "sheet.html").read_text())
    pdf = sheet.pdf_of(made)
    words = " ".join(" ".join(text.replace(BREAK, "") for text in pages_of(pdf)).split())
    about = PdfReader(io.BytesIO(pdf)).metadata
    return json.loads((arguments["into"] / "sheet.json").read_text())["title_block"], page, words, about


@pytest.fixture(scope="module")
def arguments(tmp_path_factory):
    return makers.results_of_compound(tmp_path_factory.mktemp("titled"), ("m4-a", "m4-b"))


def test_what_is_stated_stands_on_every_print(arguments):
    typed, page, pdf, about = printed(arguments, STATED)
    assert (typed["report_number"], typed["issue"], typed["date"]) == ("=MC-07 <b>&</b>", "C", "2026-05-04")
    assert [row["issue"] for row in typed["amendments"]] == ["B", "C"] and typed["file"] == "sheets/marram-4.yaml"
    for said in (
        *WORDS["de"], "=MC-07 <b>&</b>", "2026-05-04", "materials engineer", "head of laboratory", "For the gate review.",
        "Replaces issue B.", "History of this sheet", "batch M4-2409 added",
    ):  # fmt: skip
        assert said in page, said
        assert said in pdf, said
    assert pdf.index("History of this sheet") > pdf.index("Responsible for this sheet")  # in the appendix
    assert about["/CreationDate"].startswith("D:20260504")
    assert "lies before that of the newest test" not in page


def test_what_nobody_stated_stays_blank(arguments):
    typed, page, pdf, about = printed(arguments)
    assert all(typed[key] is None for key in ("report_number", "issue", "date", "prepared", "reviewed", "text", "file"))
    assert typed["amendments"] == [] and typed["why"]
    assert "History of this sheet" not in page + pdf
    assert page.count('<td class="missing">not stated</td>') == len(WORDS["en"])
    assert "Report no. Issue Date of issue Prepared Reviewed" in pdf  # nothing between the names of the lines
    assert about["/CreationDate"].startswith("D:20260302")  # of the newest test


def test_a_long_text_stands_in_the_appendix_and_the_first_page_says_so(arguments):
    words = "brake from 1500 to 500 rpm at 40 bar, then wait; " * (LONGEST // 20)
    _, page, pdf, _ = printed(arguments, f"compound: Marram 4\ntext: '{words}'\n")
    assert words.strip() in page
    assert pdf.count("then wait") == words.count("then wait")
    assert pdf.index("stands under Amendments") < pdf.index("then wait")


def test_a_date_of_issue_before_the_newest_test_is_told_in_front(arguments):
    _, page, pdf, _ = printed(arguments, "compound: Marram 4\ndate: 2026-03-01\n")
    assert "2026-03-01, lies before that of the newest test, 2026-03-02" in page
    assert "2026-03-01, lies before that of the newest test, 2026-03-02" in pdf


def test_a_file_that_cannot_be_used_leaves_the_lines_blank_and_says_why(arguments):
    typed, page, _, _ = printed(arguments, "compound: Marram 4\nisue: 3\n")
    assert typed["issue"] is None and "isue" in typed["why"]
    assert "The title block's file is left out: marram-4.yaml: line 2: isue: unknown key" in page


def test_every_language_names_each_line():
    assert {len(set(names)) for names in WORDS.values()} == {5}
    assert all(all(names) for names in WORDS.values())
