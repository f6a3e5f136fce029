"""A test's page and its findings.json, from hand-made results."""

import json
import re
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.report import per_test_traces
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


def test_plotly_is_written_once_for_all_results_and_named_relatively(made):
    page = (made["into"] / "test.html").read_text()
    (address,) = re.findall(r'<meta name="plotting-library" content="([^"]+)"', page)
    script = (made["into"] / address).resolve()
    assert script.parent == made["into"].parents[2] / "assets"
    assert script.stat().st_size > 1_000_000
    assert len(list(script.parent.iterdir())) == 1
    assert "<script src" not in page
    assert len(page) < 2_000_000


def taken(path):
    """What a file of traces hands to the page."""
    return json.loads(re.fullmatch(r"stopsheet\.take\((.*)\);\n", path.read_text(), re.DOTALL).group(1))


def test_files_of_traces_hold_every_stop_once(made):
    stops = pl.read_parquet(made["into"] / "stops.parquet")
    files = {path: taken(path) for path in sorted((made["into"] / "traces").glob("*.js"))}
    assert sorted(int(stop) for content in files.values() for stop in content) == stops["stop"].to_list()
    for path, content in files.items():
        assert {per_test_traces.address(int(stop)) for stop in content} == {f"traces/{path.name}"}
    own = files[made["into"] / "traces" / "04.js"]["40"]
    traces = pl.read_parquet(made["into"] / "traces.parquet").filter(pl.col("stop") == 40)
    assert own["conditioned"]["torque_nm"] == pytest.approx(traces["torque_nm"].to_list(), rel=1e-3, abs=1e-6)
    assert own["findings"][0]["action"] == "look at the connector"
    assert dict(own["facts"])["Raw file"] == stops["file"][39]
    assert "not kept" in own["note"]


def test_files_of_stops_that_are_gone_are_removed(made):
    gone = made["into"] / "traces" / "99.js"
    gone.write_text("stopsheet.take({});")
    makers.page_of_test(made, renamed="marram-4-2")
    assert not gone.exists()


def test_text_of_a_finding_cannot_end_the_script(tmp_path):
    paths = makers.results_of_test(tmp_path, "m4-h")
    findings = json.loads((paths["into"] / "stops_findings.json").read_text())
    findings["findings"][1]["message"] = HOSTILE
    (paths["into"] / "stops_findings.json").write_text(json.dumps(findings))
    makers.page_of_test(paths)
    text = (paths["into"] / "traces" / "04.js").read_text()
    assert "<" not in text and taken(paths["into"] / "traces" / "04.js")["40"]["findings"][0]["message"] == HOSTILE


@pytest.mark.usefixtures("drawn_afresh")
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


def recorded(samples: int, spike: int | None = None) -> dict[str, np.ndarray]:
    """A braking of 3 s in a recording of 5 s that starts 1 s before it."""
    time = 200.0 + np.linspace(0, 5, samples)
    braking = (time > 201) & (time < 204)
    torque = 900.0 * braking + np.random.default_rng(1).normal(0, 5, samples)
    if spike is not None:
        torque[spike] = 4000.0
    return {"time": time, "speed": np.full(samples, 100.0), "torque": torque, "pressure": 40e5 * braking}


ROW = {"stop": 7, "recording": 1, "start_s": 201.0, "end_s": 204.0, "duration_s": 3.0}
SETTINGS = per_test_traces.Corrected(0.5, 20.0)


def around(room: Path, channels: dict[str, np.ndarray]) -> tuple[dict, tuple[int, int]]:
    """The stop's raw trace; a stop in another recording at the same times lies before it in the file."""
    both = [pl.DataFrame({"recording": [n] * channels["time"].size, **channels}) for n in (2, 1)]
    pl.concat(both).write_parquet(room / "t.parquet")
    return per_test_traces.Raw(room / "t.parquet", [ROW], SETTINGS).around(ROW)


@pytest.mark.parametrize("rows", [137, 250_000])
def test_a_raw_trace_has_every_sample_in_the_pages_units(tmp_path, monkeypatch, rows):
    """However many rows of the file are in memory at a time."""
    monkeypatch.setattr(per_test_traces, "PART_ROWS", rows)
    shown, (drawn, of) = around(tmp_path, recorded(501))
    assert drawn == of == shown["time_s"]["count"] == len(shown["torque_nm"])
    assert shown["time_s"]["from"] == pytest.approx(-0.7, abs=0.011) and shown["time_s"]["step"] == pytest.approx(0.01)
    assert max(shown["pressure_bar"]) == 40.0 and shown["speed_rpm"][0] == pytest.approx(954.93, rel=1e-4)
    assert "all" in per_test_traces.thinning(80, drawn, of)


@pytest.mark.parametrize("rows", [7001, 250_000])
def test_a_spike_survives_the_thinning_and_the_thinning_is_told(tmp_path, monkeypatch, rows):
    monkeypatch.setattr(per_test_traces, "PART_ROWS", rows)
    shown, (drawn, of) = around(tmp_path, recorded(50_001, spike=23_457))
    assert 600 < drawn < 2000 and of > 40_000
    assert max(shown["torque_nm"]) == 4000.0
    at = shown["time_s"][int(np.argmax(shown["torque_nm"]))]
    assert at == pytest.approx(23_457 * 5 / 50_000 - 1, abs=1e-4)
    assert f"{drawn} of {of} samples" in per_test_traces.thinning(80, drawn, of)


def test_windows_of_a_stop_are_the_stages_own():
    row = {**ROW, "window_start_s": 0.31, "window_end_s": 2.84}
    assert per_test_traces.windows(row, SETTINGS) == [
        ("zero", -0.6, -0.1),
        ("evaluation", 0.31, 2.84),
        ("braking", 0.0, 3.0),
    ]
