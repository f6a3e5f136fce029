"""What is computed in memory is what a run writes, and what a run wrote is read back whole."""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl
import pytest
from plotly.graph_objects import Figure
from polars.testing import assert_frame_equal

import pipeline
from pipeline.report import per_test_page
from pipeline.results import plain
from pipeline.results.catalogue import FILES
from pipeline.results.model import Result, read
from tests.conftest import IN_USE, SAMPLES, SampleResults
from tests.docs import tour

TEST, COMPOUND = "m4-2403-a", "Marram 4"
STATED = {"test", "method", "stamp"}  # what a file says of itself


@pytest.fixture(scope="module")
def notebook(sample_results: SampleResults) -> tour.Notebook:
    """The page's cells, run over the session's run of the samples: one reduction serves the page and what it is held against."""
    made = tour.Notebook(sample_results.root)
    made.run(tour.cells(tour.PAGE.read_text(encoding="utf-8")))
    return made


@pytest.fixture(scope="module")
def results(notebook: tour.Notebook) -> pipeline.Results:
    found: pipeline.Results = notebook.names["results"]
    return found


@pytest.fixture(scope="module")
def reduced(notebook: tour.Notebook) -> pipeline.Reduced:
    found: pipeline.Reduced = notebook.names["reduced"]
    assert found.test.name == TEST
    return found


def test_the_page_prints_what_stands_in_it(notebook: tour.Notebook) -> None:
    in_memory, of_a_run = tour.parts(tour.PAGE.read_text(encoding="utf-8"))
    before = [*in_memory, *of_a_run]
    assert len(in_memory) > 12 and len(of_a_run) > 4 and len(notebook.ran) == len(before)
    assert sum(bool(cell.output) for cell in notebook.ran) >= len(before) - 1
    pairs = zip(before, notebook.ran, strict=True)
    found = [f"{old.code}{text}" for old, new in pairs for text in tour.differences(old.output, new.output)]
    assert found == [], f"renew the page by {tour.COMMAND}"


def written(result: Result) -> object:
    """As it would stand in the file, without what that says of itself."""
    return plain({key: value for key, value in result.model_dump(by_alias=True).items() if key not in STATED})


def test_stops_traces_and_summary_are_those_of_the_run(results: pipeline.Results, reduced: pipeline.Reduced) -> None:
    own = results.test(TEST)
    assert own.stops.height > 100
    assert_frame_equal(reduced.stops, own.stops, check_exact=True)
    assert_frame_equal(reduced.traces, own.traces, check_exact=True)
    assert_frame_equal(reduced.excluded, own.excluded, check_exact=True)
    assert written(reduced.summary) == written(own.summary)
    said = set(reduced.findings.select("code", "message").rows())
    assert said and said <= set(own.findings.select("code", "message").rows())


def test_map_wear_and_drift_are_those_of_the_run(
    notebook: tour.Notebook, results: pipeline.Results, reduced: pipeline.Reduced
) -> None:
    own = results.test(TEST)
    assert written(notebook.names["friction"]) == written(own.friction)
    assert written(notebook.names["wear"]) == written(own.wear)
    pooled = results.compound(COMPOUND).repeatability
    assert written(pipeline.drift_verdict(reduced, pooled=pooled)) == written(own.drift)
    assert own.friction.window is not None and own.wear.components and own.drift.verdict == "none"


@pytest.mark.heavy
@pytest.mark.parametrize(
    ("test", "method"),
    [
        ("m4-2405-c", "first"),
        *((test, IN_USE) for test in sorted(path.parent.name for path in (SAMPLES / "archive").glob("*/test.yaml"))),
    ],
)
def test_every_test_of_the_samples_is_that_of_the_run(both_methods: SampleResults, test: str, method: str) -> None:
    results = pipeline.read_results(both_methods.root, method=method)
    own, rig = results.test(test), SAMPLES / "rigs" / "north.yaml"
    found = pipeline.reduce(
        pipeline.read_test(SAMPLES / "archive" / test), SAMPLES / "methods" / f"{method}.yaml", rig=rig
    )
    (compound,) = (one.compound for one in results.states if one.test == test)
    target = SAMPLES / "targets" / "marram-4.yaml" if compound == COMPOUND else None
    assert compound is not None
    assert_frame_equal(found.stops, own.stops, check_exact=True)
    assert written(found.summary) == written(own.summary)
    assert written(pipeline.friction_map(found, target=target)) == written(own.friction)
    assert written(pipeline.wear_laws(found)) == written(own.wear)
    pooled = results.compound(compound).repeatability
    assert written(pipeline.drift_verdict(found, pooled=pooled)) == written(own.drift)


def test_the_figures_are_those_of_the_page(results: pipeline.Results) -> None:
    own = results.test(TEST)
    page = per_test_page.all_figures(own, own.friction.temperature or "")
    ours: dict[str, Figure] = {
        "friction_temperature": pipeline.plot_friction(own, own.friction),
        "friction_energy": pipeline.plot_energy(own, own.friction),
        "time_order": pipeline.plot_order(own, own.friction),
        "energy_balance": pipeline.plot_balance(own),
        "in_stop_time": pipeline.plot_in_stops(own),
        "in_stop_temperature": pipeline.plot_in_stops(own, against="disc_temperature_c"),
        "wear_intervals": pipeline.plot_wear(own.wear),
        "drift": pipeline.plot_drift(own, own.drift),
    }
    for name, figure in ours.items():
        assert figure.data and figure.to_json() == page[name].to_json(), name
    assert pipeline.plot_energy(own).data and pipeline.plot_order(own).data


def test_a_stop_is_drawn_as_recorded_and_as_conditioned(reduced: pipeline.Reduced) -> None:
    figure, samples = pipeline.plot_stop(reduced, 30), pipeline.stop_samples(reduced, 30)
    torque = [trace for trace in figure.data if trace.yaxis == "y2"]
    assert [trace.name for trace in torque] == ["as recorded", "conditioned"]
    assert [len(trace.x) for trace in figure.data] == [samples.height] * len(figure.data)
    inside = samples.filter(pl.col("in_window"))["time_s"]
    (window,) = figure.layout.shapes
    assert (window.x0, window.x1) == (inside[0], inside[-1])
    row = reduced.stops.row(29, named=True)
    assert row["window_start_s"] <= window.x0 + 1e-9 and window.x1 <= row["window_end_s"] + 1e-9


def test_every_file_of_tests_and_compounds_is_read_as_its_model(results: pipeline.Results) -> None:
    """Each typed file of the catalogue that is a test's or a compound's is behind one attribute, read whole."""
    test, compound = results.test(TEST), results.compound("marram-4")
    own = {
        "record": test.record,
        "summary": test.summary,
        "friction": test.friction,
        "wear": test.wear,
        "drift": test.drift,
    }
    own |= {f"compound-{name}": getattr(compound, name) for name in ("friction", "wear")}
    own |= {
        name: getattr(compound, name) for name in ("batches", "duty", "targets", "repeatability", "sheet", "figures")
    }
    places = {"<method>": results.method, "<test>": TEST, "<compound>": "marram-4"}
    for file in FILES:
        level = file.place.split("/")[1]
        if file.name in ("stops-findings", "wear-findings", "findings") or level not in (
            "tests",
            "compounds",
            "<test>.json",
        ):
            continue
        place = file.place
        for name, value in places.items():
            place = place.replace(name, value)
        assert own.pop(file.name) == read(Path(results.folder.parent / place), file.model), file.name
    assert not own
    assert len(test.found) == len(
        json.loads((results.folder / "tests" / TEST / "findings.json").read_text())["findings"]
    )
    a, b = results.compounds
    assert results.comparison(b, a) == results.comparison(a, b)


def test_the_tables_over_all_tests(results: pipeline.Results) -> None:
    cards = {path.parent.name for path in (SAMPLES / "archive").glob("*/test.yaml")}
    assert set(results.tests["test"]) == cards
    counted = results.stops.group_by("test", "status").len()
    for row in results.tests.iter_rows(named=True):
        own = dict(counted.filter(pl.col("test") == row["test"]).select("status", "len").rows())
        assert {name: own.get(name, 0) for name in ("ok", "suspect", "rejected")} == {
            name: row[name] for name in ("ok", "suspect", "rejected")
        }
    glazed = results.tests.filter(pl.col("drift") == "glazing-like")["test"].to_list()
    assert glazed == ["m4-2405-c"]


def test_a_stop_is_predicted_as_the_command_prints_it(
    results: pipeline.Results, capsys: pytest.CaptureFixture[str]
) -> None:
    from pipeline.cli import run

    asked = {"speed_from": "1450 rpm", "speed_to": "850 rpm", "pressure": "25 bar", "temperature": "300 degC"}
    ours = pipeline.predict_stop(results.compound(COMPOUND).friction, **asked)
    flags = {"speed_from": "--from", "speed_to": "--to", "pressure": "--pressure", "temperature": "--temperature"}
    words = [word for name, value in asked.items() for word in (flags[name], value)]
    assert run(["predict", str(results.folder.parent), COMPOUND, "--method", results.method, *words, "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == ours.model_dump(mode="json", by_alias=True)
    assert ours.mu.low is not None and ours.mu.high is not None and ours.mu.low < 0.45 < ours.mu.high
    with pytest.raises(pipeline.InputError, match="give one of pressure, torque and deceleration, not none"):
        pipeline.predict_stop(results.compound(COMPOUND).friction, **{**asked, "pressure": None})


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda r: r.test("m4-none"), "method revised has no test 'm4-none'; there are m4-2403-a, "),
        (lambda r: r.compound("Marram 5"), "method revised has no compound 'Marram 5'; there are marram-4, marram-6"),
        (lambda r: r.delta("third"), "delta.json: is not there; run the workspace to its end"),
        (lambda r: pipeline.read_results(r.folder.parent, method="third"), "no method 'third'; there are "),
    ],
)
def test_what_the_results_do_not_hold_is_told(results: pipeline.Results, call: object, said: str) -> None:
    with pytest.raises(pipeline.InputError, match=said):
        call(results)  # type: ignore[operator]
