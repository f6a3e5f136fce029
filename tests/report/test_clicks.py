"""A click opens the stop that was clicked: every figure that answers clicks names its fields, and the named stop is right."""

import numpy as np
import polars as pl
import pytest

from pipeline.report import delta_figures, per_test_page
from pipeline.report.per_test_findings import OfStages
from pipeline.results.drift import TestDrift
from pipeline.results.friction import TestFriction
from pipeline.results.record import Record
from pipeline.results.summary import TestSummary
from tests.report import contents, makers

STOPS = makers.stops_of_programme(glaze=0.045)
TRACES = makers.traces_of(STOPS)
FOUND = OfStages(
    record=Record(test="m4-a"),
    summary=TestSummary(test="m4-a"),
    friction=TestFriction.model_validate(contents.full_friction_json()),
    wear=contents.wear_of_test(),
    drift=TestDrift.model_validate(contents.drift_json(STOPS, "glazing-like")),
    stops=STOPS,
    traces=TRACES,
)
ORDER = ("time_order", "energy_balance", "residuals", "drift")
#: figure -> the columns of stops.parquet on its axes
AXES = {
    "friction_temperature": ("temperature_initial_c", "mu"), "friction_energy": ("energy_density_j_mm2", "mu"),
    "friction_pressure": ("pressure_bar", "mu"), "friction_speed": ("speed_start_rpm", "mu"),
    "surface_0": ("temperature_initial_c", "energy_density_j_mm2"), "averages": ("temperature_initial_c", None),
    "in_stop_time": (None, None), "in_stop_temperature": (None, None), **dict.fromkeys(ORDER, ("stop", None)),
}  # fmt: skip


@pytest.fixture(scope="module")
def figures():
    return per_test_page.all_figures(FOUND, "initial")


def fields(trace):
    return list((trace.meta or {}).get("fields", [])) if isinstance(trace.meta, dict) else []


def stops_of(trace):
    """The stop of every point as the page's script reads it, or None where the trace answers no click."""
    if "stop" not in fields(trace):
        return None
    place = fields(trace).index("stop")
    return [row[place] if isinstance(row, (list, tuple, np.ndarray)) else row for row in trace.customdata]


def test_data_of_points_have_names(figures):
    assert len(figures) > len(AXES)
    own = {
        name: figure for name, figure in figures.items() if name != "one_stop"
    }  # its curves name their column, not a stop
    for name, trace in [(name, trace) for name, figure in own.items() for trace in figure.data]:
        rows = [] if trace.customdata is None else trace.customdata
        assert bool(len(rows)) == bool(fields(trace)), (name, trace.name)
        for row in rows:
            size = len(row) if isinstance(row, (list, tuple, np.ndarray)) else 1
            assert size == len(fields(trace)), (name, trace.name)


@pytest.mark.parametrize("name", AXES)
def test_every_clickable_point_names_its_own_stop(figures, name):
    across, up = AXES[name]
    clickable = [trace for trace in figures[name].data if stops_of(trace)]
    assert clickable
    for trace in clickable:
        numbers = stops_of(trace)
        assert len(numbers) == len(trace.x) == len(trace.y)
        assert set(numbers) <= set(STOPS["stop"])
        for column, values in ((across, trace.x), (up, trace.y)):
            if column:
                assert list(values) == pytest.approx([STOPS[column][n - 1] for n in numbers], rel=1e-4)


def test_lines_inside_stops_are_the_stops_that_they_name(figures):
    for name, column in (("in_stop_time", "time_s"), ("in_stop_temperature", "disc_temperature_c")):
        for trace in figures[name].data:
            points = pl.DataFrame({"stop": stops_of(trace), "x": trace.x}, strict=False).drop_nulls()
            for (stop,), own in points.group_by("stop"):
                expected = TRACES.filter((pl.col("stop") == stop) & pl.col("mu").is_not_null())[column]
                assert own["x"].to_list() == pytest.approx(expected.to_list(), rel=1e-3)


def test_a_bar_of_many_stops_opens_none(figures):
    for name in ("wear_intervals", "wear_shares", "wear_predicted", "wear_law"):
        assert not any(stops_of(trace) for trace in figures[name].data), name


def test_every_figure_is_either_checked_or_answers_no_click(figures):
    answering = {name for name, figure in figures.items() if any(stops_of(trace) for trace in figure.data)}
    assert answering == set(AXES)


def test_points_of_a_delta_name_test_and_stop(tmp_path):
    folder = makers.results_of_delta(tmp_path / "first--revised").parent
    delta = pl.read_parquet(folder / "delta.parquet")
    for figure in (delta_figures.scatter(delta), delta_figures.by_temperature(delta, 0.01)):
        for trace in figure.data:
            if trace.customdata is not None:
                assert fields(trace) == ["test", "stop"]
                assert set(stops_of(trace)) <= set(delta["stop"])
