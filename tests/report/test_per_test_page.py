"""A test's page and its findings.json, from hand-made results."""

import json
import re

import pytest

from tests.report import makers

HOSTILE = '"<script>alert(1)</script> {{ 7*7 }} </script><img src=x onerror=alert(2)>"'


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    root = tmp_path_factory.mktemp("page")
    paths = makers.results_of_test(root, "m4-g", glaze=0.045, verdict="glazing-like", notes=HOSTILE)
    makers.page_of_test(paths, renamed="marram-4-2")
    return paths


def test_findings_are_merged(made):
    content = json.loads((made["into"] / "findings.json").read_text())
    assert [item["severity"] for item in content["findings"]] == ["rejected", "suspect", "info"]
    assert content["findings"][-1]["code"] == "compound_renamed"
    assert {"code", "severity", "stop", "file", "channel", "start_s", "end_s", "message", "evidence", "action"} <= set(
        content["findings"][0]
    )


def test_the_page_says_what_the_files_say(made):
    page = (made["into"] / "test.html").read_text()
    assert "Friction window 231 °C to 604 °C" in page
    assert "at the reference's 40.0 bar and" in page or "at the reference&#39;s 40.0 bar and" in page
    assert "Glazing-like" in page
    assert "First affected stop: 104 (100 to 109)" in page
    assert "braking was broken off at 1100 rpm" in page


def test_a_source_of_uncertainty_that_nobody_stated_is_none_of_nought(made):
    page = (made["into"] / "test.html").read_text()
    assert '<th scope="row">piston area</th><td>not given: no accuracy stated: counted as 0</td>' in page


def test_user_text_is_escaped(made):
    page = (made["into"] / "test.html").read_text()
    assert "<script>alert(1)" not in page
    assert "onerror=alert(2)&gt;" in page
    assert "49" not in re.findall(r"alert\(1\)(.*?)onerror", page)[0]


def test_plotly_is_written_once_and_referenced_relatively(made):
    page = (made["into"] / "test.html").read_text()
    (address,) = re.findall(r'<script src="([^"]+)"', page)
    script = (made["into"] / address).resolve()
    assert script.parent == made["into"].parent.parent / "assets"
    assert script.stat().st_size > 1_000_000
    assert len(list(script.parent.iterdir())) == 1
    assert len(page) < 2_000_000


def test_the_same_results_give_the_same_page(made):
    before = (made["into"] / "test.html").read_bytes()
    makers.page_of_test(made, renamed="marram-4-2")
    assert (made["into"] / "test.html").read_bytes() == before


def test_an_unusable_test_has_a_page_that_says_why(tmp_path):
    paths = makers.results_of_test(tmp_path, "bad", unusable="test.yaml: inertia: missing; this key is needed")
    makers.page_of_test(paths)
    page = (paths["into"] / "test.html").read_text()
    assert "inertia: missing" in page
    assert "Why this test cannot be used" in page
    (finding,) = json.loads((paths["into"] / "findings.json").read_text())["findings"]
    assert finding["severity"] == "unusable"


def test_a_card_that_cannot_be_read_leaves_its_message(tmp_path):
    paths = makers.results_of_test(tmp_path, "bad", unusable="test.yaml: is empty")
    (paths["folder"] / "test.yaml").write_text("compound: [")
    makers.page_of_test(paths)
    assert "test.yaml" in (paths["into"] / "test.html").read_text()


def test_a_test_of_summary_rows_is_marked(tmp_path):
    paths = makers.results_of_test(tmp_path, "old")
    record = json.loads(paths["record"].read_text())
    paths["record"].write_text(json.dumps({**record, "holds": "summary"}))
    makers.page_of_test(paths)
    assert "not reprocessable" in (paths["into"] / "test.html").read_text()
