"""Hard cases of the sheet's print: few results or none, very many, and names and texts of any kind.

Each is set from results written by hand, no stage runs. What must hold of all of them: page one is one page, six at most stand in
front of the appendix, no text lies beyond the page or over other text, every sign has a shape or stands as its number, and every
number is sheet.json's. `HARD_SHEETS=folder` in the environment keeps the PDFs to be looked at.
"""

import json
import os
import shutil
from pathlib import Path

import polars as pl
import pytest

from pipeline.report import sheet, sheet_pdf
from pipeline.report.document import Section, Text
from pipeline.report.typeset import Setting
from pipeline.results import read_json, write_json, write_parquet
from tests.report import contents, makers
from tests.report.laid_out import faults
from tests.report.read_back import bare, differences, pages_of

ARABIC, CYRILLIC, CHINESE = "عينة-٣", "Вереск-М4 «опытная партия»", "東京摩擦材料-七"
TURNED = "A\u202eB"  # a sign that turns the direction of what follows it


def one_test(root):
    return makers.results_of_compound(root, ("m4-a",))


def no_wear(root):
    none = {"compound": "Marram 4", "components": {}, "why": "no wear readings belong to these tests"}
    return makers.results_of_compound(root, wear=none)


def no_window(root):
    friction = contents.full_friction_json(
        compound="Marram 4", window=None, window_reason="the data end at 240 °C", curve=[]
    )
    return makers.results_of_compound(root, friction=friction)


def an_unusable_test(root):
    arguments = makers.results_of_compound(root, ("m4-a", "m4-b", "m4-c"))
    makers.results_of_test(
        root, "m4-b", unusable="no recording matches recordings/*.csv: " + "nothing was found there; " * 20
    )
    return arguments


def batches_that_differ(root):
    return makers.results_of_compound(root, friction=contents.full_friction_json(compound="Marram 4"))


def forty_batches(root):
    """Forty batches of one test each; all pairs of the first twelve, as one stage would list them."""
    names = ["M4-2406", *(f"M4-{2410 + k}" for k in range(39))]
    tests = tuple(f"m4-{k:02d}" for k in range(40))
    friction, batches = contents.full_friction_json(compound="Marram 4"), contents.batches_json()
    friction["by_batch"] = [friction["by_batch"][k % 2] | {"batch": name} for k, name in enumerate(names)]
    own = batches["batches"][0]
    batches["batches"] = [
        own | {"batch": name, "mu": {"value": 0.4 + 0.002 * k, "low": 0.39 + 0.002 * k, "high": 0.41 + 0.002 * k}}
        for k, name in enumerate(names)
    ]
    pairs = [(a, b) for k, a in enumerate(names[:12]) for b in names[:k]]
    batches["pairs"] = [
        batches["pairs"][k % len(batches["pairs"])] | {"a": a, "b": b} for k, (a, b) in enumerate(pairs)
    ]
    arguments = makers.results_of_compound(root, tests[:1], friction=friction, batches=batches)
    for test, name in zip(tests[1:], names[1:], strict=True):
        for folder in (root / "archive", arguments["results"] / "tests"):
            shutil.copytree(folder / tests[0], folder / test, dirs_exist_ok=True)
        card = root / "archive" / test / "test.yaml"
        card.write_text(card.read_text().replace("M4-2406", name))
    return arguments | {"tests": list(tests)}


def two_thousand_stops(root):
    arguments = makers.results_of_compound(root, ("m4-a",))
    path = arguments["results"] / "tests" / "m4-a" / "stops.parquet"
    stops = pl.read_parquet(path)
    many = pl.concat([stops] * -(-2000 // len(stops))).head(2000)
    write_parquet(path, many.with_columns(stop=pl.int_range(1, 2001, dtype=pl.Int64)))
    return arguments


def names_in_any_script(root):
    tall = f"{CYRILLIC} {ARABIC} {CHINESE} " + "Oberflächenbehandelt" * 7
    long = f"{tall} {TURNED}"  # a card holds no sign that turns the direction, an archive's folder may
    arguments = makers.results_of_compound(root, ("m4-a",), friction=contents.full_friction_json(compound="Marram 4"))
    makers.results_of_test(
        root, "m4-a", compound=repr(tall), batch=repr(CYRILLIC * 3), specimen=repr(ARABIC * 4), notes=repr(CHINESE)
    )
    duty = read_json(arguments["into"] / "duty.json")
    for one in duty["duties"]:
        one["duty"] = f"{one['duty']} {long}"
    write_json(arguments["into"] / "duty.json", duty)
    return arguments | {"compound": long}


def eight_thousand_characters(root):
    text = "brake from 1500 to 500 rpm at 40 bar, then wait; " * 164
    arguments = makers.results_of_compound(root, ("m4-a",))
    card = root / "archive" / "m4-a" / "test.yaml"
    card.write_text(
        card.read_text()
        .replace("procedure: characterisation", f"procedure: '{text}'")
        .replace("notes: none", f"notes: '{text}'")
    )
    return arguments


def nothing_at_all(root):
    none = {"compound": "Marram 4", "unusable": "no usable test"}
    changes = {name: none for name in ("friction", "wear", "batches", "duty")}
    arguments = makers.results_of_compound(root, ("m4-a",), target=False, **changes)
    makers.results_of_test(root, "m4-a", unusable="no recording matches")
    return arguments


CASES = (
    one_test, no_wear, no_window, an_unusable_test, batches_that_differ, forty_batches, two_thousand_stops, names_in_any_script,
    eight_thousand_characters, nothing_at_all,
)  # fmt: skip
ALWAYS = (an_unusable_test,)  # in the default run; the others in the heavy one


@pytest.mark.parametrize(
    "case",
    [case if case in ALWAYS else pytest.param(case, marks=pytest.mark.heavy) for case in CASES],
    ids=lambda case: case.__name__,
)
def test_the_print_holds_in_hard_cases(case, tmp_path):
    made = sheet.made(**case(tmp_path))
    pdf = sheet.pdf_of(made)
    if keep := os.environ.get("HARD_SHEETS"):
        (Path(keep) / f"{case.__name__}.pdf").write_bytes(pdf)
    pages = pages_of(pdf)
    starts = [bare(page) for page in pages]
    if case is names_in_any_script:
        assert all(test.card for test in made.loaded.tests), "the case is of a card that can be read"
    heads = tuple(f"A{bare(section.title)}" for section in made.sections)
    appendix = next(k for k, page in enumerate(starts) if page.startswith(heads))
    assert "1Answers" in starts[0]
    assert "2Inshort" in starts[1], "page one is one page"
    assert appendix <= sheet_pdf.MOST_PAGES
    assert faults(pdf) == []
    sheet.print_json(made, tmp_path / "sheet.json")
    content = json.loads((tmp_path / "sheet.json").read_text())
    if case is not names_in_any_script:  # a reader extracts text that runs from right to left in the order seen
        drawn = [
            part.caption
            for section in made.sections
            for part in section.parts
            if getattr(part, "name", None) in made.images
        ]
        for section in content["sections"]:
            section["figures"] = [figure for figure in section["figures"] if figure["caption"] in drawn]
        assert differences(pages, content, made.title, made.under) == []


def test_a_fault_of_layout_is_found():
    sections = [Section("Answers", [Text("{a}", {"a": "plain"})])]
    assert faults(sheet_pdf.build("A sheet", "method", sections, {})) == []
    over = Setting("no_sheet.typ", {"title": "t", "why": "w"}, {})
    written = b'#set page(paper: "a4", margin: 20mm)\n#set text(font: "DejaVu Sans")\n'
    for wrong, said in (
        (b"#place(dx: 3pt, dy: 2pt)[one text over] another text under", "over"),
        (b"#box(width: 1pt)[" + b"w" * 400 + b"]", "beyond the page"),
        ("東京".encode(), "a sign without a shape"),
    ):
        over.sources["main"] = written + wrong
        over.standard = None
        assert any(said in fault for fault in faults(over.made())), said
