"""Tables and figures to take away hold what the sheet says, run nothing in a spreadsheet, and are the same bytes every time."""

import base64
import csv
import io
import json
import re
import zipfile
from datetime import date, datetime

import jsonschema
import openpyxl
import polars as pl
import pytest

from pipeline.report import figure_files, plots, sheet, sheet_tables, test_tables
from pipeline.report.document import Items, Table
from pipeline.results.workbook import Worksheet, workbook, write_workbook
from pipeline.stages import FIGURES, STAGES
from pipeline.vocabulary import FIGURE
from tests.report import makers

HOSTILE = [
    '=HYPERLINK("x")',
    "+1+1",
    "-2",
    "@SUM(A1)",
    "\t=1",
    "https://example.org",
    "12",
    "x" * 40_000,
    "a\x07b",
    "{=1}",
]


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    arguments = makers.results_of_compound(tmp_path_factory.mktemp("tables"), ("m4-a", "m4-b"))
    document = sheet.made(**arguments)
    return document, arguments["into"], arguments


@pytest.fixture(scope="module")
def taken(made):
    """Folder with everything that the sheet's stage writes."""
    document, into, _ = made
    for part in STAGES["sheet"].parts:
        module = {"sheet": sheet, "sheet_tables": sheet_tables, "figure_files": figure_files}[
            part.call.split(":")[0].rsplit(".", 1)[1]
        ]
        getattr(module, part.call.split(":")[1])(document, *[into / name for name in part.outputs])
    return into


def rows_of(book, name):
    return [[cell.value for cell in row] for row in book[name].iter_rows()]


def read_csv(path):
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))


def number(text):
    return float(text) if text else None


def test_no_text_of_a_users_becomes_a_formula_a_link_or_a_number():
    content = workbook([Worksheet("t", ["=1+1 (mm)", "b"], [[text, 1.5] for text in HOSTILE])])
    inside = zipfile.ZipFile(io.BytesIO(content))
    place = inside.read("xl/worksheets/sheet1.xml").decode()
    assert "<f>" not in place and "hyperlink" not in place.lower()
    assert not [
        name for name in inside.namelist() if "externalLink" in name or "vba" in name.lower() or "_rels/sheet" in name
    ]
    cells = list(openpyxl.load_workbook(io.BytesIO(content))["t"].iter_rows())
    for (cell, beside), text in zip(cells[1:], HOSTILE, strict=True):
        assert cell.data_type == "s" and beside.value == 1.5
        assert cell.quotePrefix == text.startswith(("=", "+", "-", "@", "\t")), text
        if len(text) <= 32_767 and "\x07" not in text:
            assert cell.value == text
    assert cells[0][0].quotePrefix and cells[0][0].data_type == "s"
    assert cells[8][0].value.endswith("longer than a cell holds)")


def test_names_of_worksheets_are_what_the_format_allows():
    names = ["a/b[c]:*?", "'quoted'", "history", "x" * 60, "X" * 60, "", "a b c"]
    found = openpyxl.load_workbook(io.BytesIO(workbook(Worksheet(name, ["h"], []) for name in names))).sheetnames
    assert len({name.lower() for name in found}) == len(names) and max(map(len, found)) <= 31
    assert not [name for name in found if re.search(r"[\[\]:*?/\\]", name) or name.lower() == "history"]


def test_a_workbook_is_the_same_bytes_whenever_it_is_written(tmp_path, monkeypatch):
    table = Worksheet("t", ["a (mm)"], [[1], [float("nan")], [True], [None], [["x", "y"]]])
    one = workbook([table], dated=date(2026, 3, 2))
    monkeypatch.setenv("TZ", "Pacific/Kiritimati")
    write_workbook(tmp_path / "t.xlsx", [table], dated=date(2026, 3, 2))
    assert (tmp_path / "t.xlsx").read_bytes() == one
    inside = zipfile.ZipFile(io.BytesIO(one))
    assert {entry.date_time for entry in inside.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    assert set(re.findall(r"\d{4}-\d\d-\d\dT[\d:]+Z", inside.read("docProps/core.xml").decode())) == {
        "2026-03-02T00:00:00Z"
    }
    book = openpyxl.load_workbook(io.BytesIO(one))
    assert rows_of(book, "t") == [["a (mm)"], [1], [None], [True], [None], ["x, y"]]
    assert book.properties.created == datetime(2026, 3, 2)


def test_the_workbook_holds_every_number_of_the_sheet_unrounded_with_its_source(taken):
    content = json.loads((taken / "sheet.json").read_text())
    listed = [one for section in content["sections"] for one in section["numbers"]]
    head, *rows = rows_of(openpyxl.load_workbook(taken / "tables.xlsx"), "Numbers")
    assert head == list(sheet_tables.NUMBERS) and len(rows) == len(listed) > 400
    for row, one in zip(rows, listed, strict=True):
        said = dict(zip(head, row, strict=True))
        assert (said["what"], said["file"], said["key"]) == (one["label"], one["file"], one["key"])
        for key in ("value", "low", "high"):
            assert said[key] == (pytest.approx(one[key], rel=1e-8) if one[key] is not None else None)
        assert said["why not given"] == one["why"]


def test_every_table_of_the_sheet_has_a_worksheet_with_the_ends_of_its_intervals(made, taken):
    document, _, _ = made
    book = openpyxl.load_workbook(taken / "tables.xlsx")
    tables = [p for s in document.sections for p in s.parts if isinstance(p, Table | Items)]
    assert len(book.sheetnames) == len(tables) + 2
    listed = [rows_of(book, name)[0] for name in book.sheetnames[2:]]
    assert sum(any(str(head).endswith(", low") for head in heads) for heads in listed) > 5
    for table, heads in zip(tables, listed, strict=True):
        if isinstance(table, Table):
            assert [head for head in heads if not re.search(r", (low|high|unit)$", str(head))] == list(table.head)


def test_each_figure_has_its_picture_as_printed_and_its_data(made, taken):
    listed = {one["name"]: one for one in json.loads((taken / "figures.json").read_text())["figures"]}
    assert set(listed) == set(FIGURES) == set(plots.PLOTS)
    page = (taken / "sheet.html").read_text()
    printed = {base64.b64decode(found) for found in re.findall(r'src="data:image/svg\+xml;base64,([^"]+)"', page)}
    drawn = {name for name, one in listed.items() if one["why"] is None}
    assert {name: (taken / listed[name]["picture"]).read_bytes() for name in drawn} == made[0].images
    assert printed and printed <= set(made[0].images.values())
    assert drawn == set(FIGURES) - {"facts"}
    for name, one in listed.items():
        rows = read_csv(taken / one["data"])
        assert len(rows) == one["rows"] and (len(rows) > 0) == (name in drawn)
        assert not [row for row in rows if not row["x_is"] and not row["y_is"]], name
    assert "the sheet of this compound has no such figure" in (taken / "figures/facts.svg").read_text()


def test_the_data_of_a_figure_are_those_of_the_results(taken):
    curve = json.loads((taken / "friction.json").read_text())["curve"]
    rows = read_csv(taken / "figures" / "overview.csv")
    drawn = [(number(r["x"]), number(r["y"])) for r in rows if r["series"] == "curve at reference conditions"]
    assert drawn == [(pytest.approx(p["temperature_c"]), pytest.approx(p["mu"])) for p in curve]
    for series, low, high in (
        ("tolerance band, one stop", "tolerance_low", "tolerance_high"),
        ("confidence band of the mean", "low", "high"),
    ):
        band = [(number(r["x"]), number(r["y_low"]), number(r["y_high"])) for r in rows if r["series"] == series]
        assert band == [tuple(map(pytest.approx, (p["temperature_c"], p[low], p[high]))) for p in curve]
    assert {r["x_is"] for r in rows if r["panel"] in "12"} == {"Disc temperature at stop start (°C)"}
    assert {r["x_is"] for r in rows if r["panel"] == "4"} == {"Disc wear per stop and face (µm)"}
    lines = read_csv(taken / "figures" / "conditions.csv")
    assert {r["y_is"] for r in lines} == {"Friction coefficient µ"}
    assert {r["x_is"] for r in lines if r["panel"] == "1"} == {"Energy density of pad area (J/mm²)"}
    wear = [json.loads((taken.parents[1] / "tests" / t / "wear.json").read_text()) for t in ("m4-a", "m4-b")]
    intervals = [
        i
        for one in wear
        for part in one["components"].values()
        for i in part["intervals"]
        if i["to_stop"] > i["from_stop"]
    ]
    measured = [r for r in read_csv(taken / "figures" / "wear.csv") if r["panel"] == "1" and r["mark"] == "points"]
    assert sorted(number(r["x"]) for r in measured) == sorted(
        i["wear_um"] for i in intervals if i["predicted_um"] is not None
    )
    for row in measured:
        half = next(2 * i["wear_u_um"] for i in intervals if i["wear_um"] == number(row["x"]))
        assert number(row["x_high"]) - number(row["x"]) == pytest.approx(half)


def test_every_mark_of_a_figure_has_a_name(taken):
    """What a table of data calls nothing cannot be used."""
    unnamed = {
        name: sorted({row["mark"] for row in read_csv(taken / "figures" / f"{name}.csv") if not row["series"]})
        for name in FIGURES
    }
    assert not {name: marks for name, marks in unnamed.items() if marks}
    assert list(read_csv(taken / "figures" / "wear.csv")[0]) == [column.name for column in FIGURE]


def test_the_schema_beside_a_sheet_holds_it(taken):
    schema = json.loads((taken / "sheet.schema.json").read_text())
    jsonschema.validate(json.loads((taken / "sheet.json").read_text()), schema)


def test_the_page_links_what_stands_beside_it(taken):
    page = (taken / "sheet.html").read_text()
    beside = {link for link in re.findall(r'href="([^"#:]+)"', page) if not link.startswith("..")}
    assert {
        "tables.xlsx",
        "sheet.pdf",
        "sheet.json",
        "sheet.schema.json",
        "figures/overview.svg",
        "figures/wear.csv",
    } <= beside
    assert not [link for link in beside if not (taken / link).is_file()]


def test_a_tests_workbook_holds_its_stops_and_findings(made):
    _, _, arguments = made
    into = arguments["results"] / "tests" / "m4-a"
    record = arguments["results"].parent / "channels" / "m4-a.json"
    test_tables.run(folder=arguments["archive"] / "m4-a", method="first", record=record, into=into)
    book = openpyxl.load_workbook(into / "tables.xlsx")
    stops = pl.read_parquet(into / "stops.parquet")
    head, *rows = rows_of(book, "Stops")
    assert head[:11] == [
        "stop", "file", "block", "purpose", "kind", "start_s (s)", "duration_s (s)", "speed_start_rpm (rpm)", "speed_end_rpm (rpm)",
        "pressure_bar (bar)", "torque_nm (N m)",
    ]  # fmt: skip
    assert [row[head.index("mu (1)")] for row in rows] == [
        pytest.approx(mu) if mu is not None else None for mu in stops["mu"]
    ]
    assert rows_of(book, "Findings")[1][0] == "spike"
    wear = json.loads((into / "wear.json").read_text())["components"]
    head, *rows = rows_of(book, "Wear intervals")
    assert [row[head.index("wear_um (um)")] for row in rows] == [
        i["wear_um"] for part in wear.values() for i in part["intervals"]
    ]
    assert {"Blocks", "Friction curve", "Wear by block", "Wear laws", "Uncertainty of mu", "About"} <= set(
        book.sheetnames
    )
