"""What can't be drawn loses no result: findings, sheet.json and delta.json stand, and each print fails for itself."""

from xml.etree import ElementTree

import openpyxl
import pytest
from markupsafe import Markup
from pypdf import PdfReader

from pipeline.cli.stages import call
from pipeline.results import read_json
from pipeline.stages import STAGES
from tests.report import makers


def broken(*_, **__):
    raise ValueError("marker sizes below zero")


@pytest.fixture
def test_paths(tmp_path):
    return makers.results_of_test(tmp_path, "m4-a")


def findings_and_page(paths):
    own = {
        "folder": paths["folder"],
        "record": paths["record"],
        "method": "first",
        "into": paths["into"],
    }
    call(STAGES["findings"], {**own, "rigs": paths["rigs"], "renamed": None})
    call(STAGES["test_page"], {**own, "settings": makers.DEFAULT_SETTINGS})


def test_a_page_that_cannot_be_drawn_leaves_the_findings(test_paths, monkeypatch):
    monkeypatch.setattr(
        "pipeline.report.still.picture", lambda *_, **__: Markup()
    )  # what is drawn here are the figures
    with monkeypatch.context() as fails:
        fails.setattr("pipeline.report.wear_figures.wear_per_interval", broken)
        findings_and_page(test_paths)
    found = read_json(test_paths["into"] / "findings.json")
    assert [item["code"] for item in found["findings"]] == ["stop_aborted", "spike"]
    assert found["unusable"] is None
    assert "fault of ours" in (test_paths["into"] / "test.html").read_text()
    (log,) = test_paths["into"].glob("*.fault.txt")
    assert "marker sizes below zero" in log.read_text()
    findings_and_page(test_paths)
    assert not list(test_paths["into"].glob("*.fault.txt"))
    assert "Friction window" in (test_paths["into"] / "test.html").read_text()


@pytest.mark.parametrize(
    ("place", "lost"),
    [
        ("pipeline.report.sheet_pdf.build", {"sheet.pdf"}),
        ("pipeline.report.compound_page.html", {"sheet.html"}),
        ("pipeline.report.plots.drawn", {"sheet.html", "sheet.pdf", "figures.json"}),
        ("pipeline.report.sheet_tables.worksheets", {"tables.xlsx"}),
    ],
)
def test_a_print_of_the_sheet_that_fails_takes_no_other(tmp_path, monkeypatch, place, lost):
    arguments = makers.results_of_compound(tmp_path, ("m4-a",))
    into = arguments["into"]
    monkeypatch.setattr("pipeline.report.plots.drawn", lambda *_: {})
    monkeypatch.setattr(place, broken)
    call(STAGES["sheet"], arguments)
    assert {log.name.removesuffix(".fault.txt") for log in into.glob("*.fault.txt")} == lost
    assert read_json(into / "sheet.json")["targets"]
    assert ("fault of ours" in (into / "sheet.html").read_text()) == ("sheet.html" in lost)
    assert (into / "sheet.pdf").read_bytes().startswith(b"%PDF")
    (first, *_) = PdfReader(into / "sheet.pdf").pages
    assert ("no sheet" in first.extract_text()) == ("sheet.pdf" in lost)


def test_a_sheet_that_cannot_be_made_leaves_every_file_with_the_reason(tmp_path, monkeypatch):
    arguments = makers.results_of_compound(tmp_path, ("m4-a",))
    monkeypatch.setattr("pipeline.report.inputs.load", broken)
    call(STAGES["sheet"], arguments)
    files = {name: arguments["into"] / name for name in STAGES["sheet"].outputs}
    assert not [name for name, path in files.items() if not path.is_file()]
    cells = [cell for row in openpyxl.load_workbook(files["tables.xlsx"])["About"].values for cell in row]
    assert any("fault of ours in stage sheet" in str(cell) for cell in cells)
    assert "fault of ours in stage sheet" in "".join(ElementTree.parse(files["figures/wear.svg"]).getroot().itertext())
    assert files["figures/wear.csv"].read_text(encoding="utf-8-sig").startswith("panel,series,mark,")
    assert "fault of ours" in read_json(files["figures.json"])["unusable"]


def test_a_delta_page_that_cannot_be_drawn_leaves_its_table(tmp_path, monkeypatch):
    folder = makers.results_of_delta(tmp_path / "first--revised").parent
    before = {name: (folder / name).read_bytes() for name in ("delta.json", "delta.parquet")}
    monkeypatch.setattr("pipeline.delta.stage.run", lambda **_: None)
    monkeypatch.setattr("pipeline.report.delta_figures.scatter", broken)
    call(STAGES["delta"], {"config": tmp_path / "config.yaml", "a": "first", "b": "revised", "into": folder})
    assert {name: (folder / name).read_bytes() for name in before} == before
    assert "fault of ours" in (folder / "delta.html").read_text()


def test_an_index_that_cannot_be_drawn_leaves_the_list_of_tests(tmp_path, monkeypatch):
    into = makers.workspace(tmp_path)
    monkeypatch.setattr("pipeline.report.index_page.compound_row", broken)
    call(STAGES["index"], {"config": tmp_path / "config.yaml", "method": "first", "settings": "", "into": into})
    assert [row["test"] for row in read_json(into / "archive.json")["tests"]] == ["m4-a"]
    assert (into / "method.yaml").is_file()
    assert "fault of ours" in (into / "index.html").read_text()


def test_an_index_says_so_of_a_sheet_that_failed(tmp_path):
    into = makers.workspace(tmp_path)
    sheet = into / "compounds" / "marram-4" / "sheet.json"
    sheet.write_text('{"compound": "Marram 4", "unusable": "fault of ours in stage sheet"}')
    call(STAGES["index"], {"config": tmp_path / "config.yaml", "method": "first", "settings": "", "into": into})
    page = (into / "index.html").read_text()
    assert "no target" not in page
    assert '<span class="mark open">not given</span> fault of ours in stage sheet' in page
