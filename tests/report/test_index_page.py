"""The index, archive.json and method.yaml of a workspace with a good, a bad, and a misnamed test."""

import json
import re

import polars as pl
import pytest

from pipeline.method import Method, load_method
from pipeline.report import index_page, index_pictures, method_file
from pipeline.results import write_json, write_text
from pipeline.results.drift import TestDrift
from pipeline.results.duty import CompoundDuty
from pipeline.results.friction import TestFriction
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
    assert '<span class="mark good">met</span> Friction window reaches down to' in page
    assert "opening 0.42 to 0.66" in page


def test_the_worst_stands_first_in_words_and_leads_to_its_stop(made):
    page = (made / "index.html").read_text()
    order = re.findall(r'<tr data-state="([^"]+)".*?data-is="test">([^<]+)<', page)
    assert order[:3] == [("unusable", "bad"), ("unusable", "no-card"), ("no stop of use", "psi")]
    assert order[3][1] == "m4-a" and order[3][0] in ("problem", "open", "clear")
    assert "no recording matches recordings/*.csv" in page
    assert re.search(r'Suspect, stop 40: torque has 3 spikes <a [^>]*href="tests/m4-a/test.html#stop-40"', page)
    assert not re.search(r"\d info\b", page)  # notes stand on the test's page


def test_a_test_that_drifted_says_so_on_the_index_and_in_its_picture(tmp_path):
    into = makers.workspace(tmp_path)
    makers.results_of_test(tmp_path, "m4-a", glaze=0.05, verdict="glazing-like")
    index_page.draw(config=tmp_path / "config.yaml", method="first", into=into)
    page = (into / "index.html").read_text()
    drift = json.loads((into / "tests" / "m4-a" / "drift.json").read_text())
    assert '<tr data-state="problem" data-drift="glazing-like">' in page
    assert f'href="tests/m4-a/test.html#stop-{drift["onset_stop"]}"' in page
    (picture,) = re.findall(r'<svg class="tiny".*?</svg>', page)
    stops = pl.read_parquet(into / "tests" / "m4-a" / "stops.parquet").filter(
        pl.col("mu").is_not_null() & (pl.col("purpose") != "bedding")
    )
    assert f"{len(stops)} stops" in picture
    dots, crosses = (re.search(f'class="{kind}" d="([^"]*)"', picture).group(1) for kind in "px")
    late = stops.filter(pl.col("stop") >= drift["onset_stop"])
    assert 0 < crosses.count("m-2-2") <= len(late) and 0 < dots.count("h0") <= len(stops) - len(late)


def test_one_test_in_a_wrong_unit_does_not_flatten_the_others():
    sane = [index_pictures.Drawn(2, before=[(100.0, 0.3), (600.0, 0.4 + i / 100)]) for i in range(4)]
    wrong = index_pictures.Drawn(2, before=[(100.0, 30.0), (600.0, 45.0)])
    axes = index_pictures.axes_of([*sane, wrong])
    assert axes is not None and axes.low == pytest.approx(0.3) and axes.high == pytest.approx(2 * 0.42)
    edge = re.findall(r"M\d+ (\d+)h0", index_pictures.svg(wrong, axes))
    assert set(edge) == {str(index_pictures.EDGE)}


def test_nothing_to_draw_is_no_picture(tmp_path):
    (tmp_path / "stops.parquet").write_text("not a table")
    for folder in (tmp_path, tmp_path / "gone"):
        drawn = index_pictures.of_test(folder, TestFriction(test="t"), TestDrift(test="t"))
        assert index_pictures.svg(drawn, index_pictures.axes_of([drawn])) == ""


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
