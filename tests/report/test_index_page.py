"""The index, archive.json and method.yaml of a workspace with a good, a bad, and a misnamed test."""

import json

import pytest

from pipeline.method import Method, load_method
from pipeline.report import index_page, method_file
from pipeline.results import write_json, write_text
from pipeline.results.duty import CompoundDuty
from tests.report import contents, makers


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    root = tmp_path_factory.mktemp("index")
    into = makers.workspace(root)
    makers.results_of_test(root, "psi", compound="Marram 6")
    summary = root / "results" / "first" / "tests" / "psi" / "summary.json"
    write_json(summary, {"test": "psi", "stops": {"ok": 0, "suspect": 21, "rejected": 0}})
    makers.results_of_test(root, "bad", unusable="no recording matches recordings/*.csv")
    write_text(root / "archive" / "not a test" / "test.yaml", "schema: 1\n")
    write_text(root / "archive" / "no-card" / "test.yaml", "compound: [")
    write_text(root / "targets" / "broken.yaml", "compound: <b>X</b>\nmoo: 1\n")
    sheet_file = into / "compounds" / "marram-4" / "sheet.json"
    answer = {"target": "Friction window reaches down to", "wanted": "280 °C", "found": "231 °C", "met": "met"}
    write_json(sheet_file, {"compound": "Marram 4", "targets": [answer]})
    index_page.run(config=root / "config.yaml", method="first", into=into)
    index_page.draw(config=root / "config.yaml", method="first", into=into)
    return into


def test_archive_lists_every_test_with_its_state(made):
    archive = json.loads((made / "archive.json").read_text())
    by = {row["test"]: row for row in archive["tests"]}
    assert {name: row["status"] for name, row in by.items()} == {
        "m4-a": "ok",
        "psi": "ok",
        "bad": "unusable",
        "no-card": "unusable",
        "not a test": "unusable",
    }
    assert by["not a test"]["why"] == archive["skipped"][0]["why"]
    assert by["m4-a"]["compound"] == "Marram 4"
    assert by["m4-a"]["why"] is None
    assert by["psi"]["why"] == "no stop of use: every stop is suspect or rejected"
    assert by["bad"]["why"] == "no recording matches recordings/*.csv"
    assert "test.yaml" in by["no-card"]["why"]
    assert [row["folder"] for row in archive["skipped"]] == ["not a test"]
    assert archive["left_out"][0]["file"] == "broken.yaml"


def test_the_page_links_to_every_test_and_sheet(made):
    page = (made / "index.html").read_text()
    for address in ("tests/m4-a/test.html", "tests/bad/test.html", "compounds/marram-4/sheet.html", "method.yaml"):
        assert f'href="{address}"' in page
    assert "231 to 604 °C (upper end where the data end)" in page
    assert "Friction window reaches down to: met" in page
    assert "opening 0.42 to 0.66" in page


def test_method_file_reads_back_to_the_method_in_use(made):
    method = load_method(made / "method.yaml")
    assert method.reduction.average == "energy"
    assert method.drift.false_alarm_rate == pytest.approx(0.02)
    assert method == load_method(made.parent.parent / "methods" / "first.yaml")


def test_every_default_is_in_the_method_file():
    text = method_file.filled_text(Method(), "empty")
    for section in ("conditioning", "segmentation", "reduction", "friction", "wear", "drift", "batches", "duty"):
        assert f"\n{section}:\n" in text
        for key in type(getattr(Method(), section)).model_fields:
            assert f"\n  {key}: " in text


def test_the_index_says_where_energy_lies_outside_the_window_and_that_no_opening_serves_both():
    """A duty whose energy all lies outside the window, and two openings that do not meet, must not be missed."""
    base = {"opening": 0.5, "life_cycles": {}, "life_km": {}}
    duty = CompoundDuty.model_validate(
        {
            "compound": "c", "common_opening_why": "the openings do not overlap",
            "duties": [{**base, "duty": "hill", "window_share": 1.0, "opening_to_run": {"low": 0.3, "high": 1.0}},
                       {**base, "duty": "flat", "window_share": 0.0, "opening_to_run": {"low": 0.0, "high": 0.2}}],
        }
    )  # fmt: skip
    said = index_page.duty_words(duty)
    assert said[1].endswith("at 0.50 0 % of the energy in the window")
    assert said[2] == "no opening serves both: the openings do not overlap"


def test_the_index_says_whether_one_brake_serves_both_uses_and_what_of_the_window_was_tested():
    said = index_page.duty_words(CompoundDuty.model_validate(contents.duty_json()))
    assert "95 % of the energy in the window, 55 % at conditions that were tested" in said[0]
    assert (
        said[2]
        == "gentle and hard use with one brake: serves neither at one opening; cheapest change, not shown yet: a margin of mu"
    )
