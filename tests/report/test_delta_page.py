"""The page of a method change says what delta.json says."""

import json

import polars as pl
import pytest

from pipeline.report import delta_page
from tests.report import makers


@pytest.fixture
def folder(tmp_path):
    return makers.results_of_delta(tmp_path / "deltas" / "first--revised").parent


def test_answer_settings_and_changed_conclusions(folder):
    delta_page.run(into=folder)
    page = (folder / "delta.html").read_text()
    for said in (
        "in part",
        "reduction.average",
        "231 to 604 degC",
        "228 to 604 degC",
        "old-1",
        "not comparable: stops below 100 degC",
    ):
        assert said in page


def test_points_are_the_table(folder):
    delta = pl.read_parquet(folder / "delta.parquet")
    fig = delta_page.scatter(delta)
    assert (
        sum(len(trace.x) for trace in fig.data if trace.mode == "markers") == delta["mu_difference"].drop_nulls().len()
    )
    by = delta_page.by_temperature(delta)
    largest = max(y for trace in by.data for y in trace.y)
    assert largest == pytest.approx(delta["mu_difference"].max(), rel=1e-4)


def test_a_delta_without_stops_says_so(folder):
    (folder / "delta.json").write_text(
        json.dumps(
            {"a": "x", "b": "y", "overview": {"stops": 0}, "comparable": {"answer": "no", "text": "no test has stops"}}
        )
    )
    pl.read_parquet(folder / "delta.parquet").clear().write_parquet(folder / "delta.parquet")
    delta_page.run(into=folder)
    assert "no test has stops" in (folder / "delta.html").read_text()
