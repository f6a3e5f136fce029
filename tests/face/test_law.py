"""The law fitted to compounds whose friction is made at the face, and what it says of them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import polars as pl
import pytest

from pipeline.constants import RAD_PER_S, ZERO_C
from pipeline.face import left_out, portable, predict
from pipeline.face import of_compound as face
from pipeline.face.of_compound import Found
from pipeline.face.predict import Asked, Drawn
from pipeline.face.samples import SEGMENTS, samples_of, segmented
from pipeline.friction.comparison import best_map
from pipeline.friction.map import FrictionMap
from pipeline.method.friction import Friction
from pipeline.results.face import FaceModel
from tests.studies import face_compounds
from tests.studies.face_compounds import Made
from tests.studies.face_law import SETTINGS, finely, given_tests, traces


@cache
def world() -> tuple[Made, list[face.FaceTest], FrictionMap, Found]:
    """A small compound of one specimen: ten starts, three pressures, two speeds, two stops each."""
    with finely():
        of = face_compounds.varied(
            face_compounds.some_compound(np.random.default_rng(4)), specimens=1, specimen_sd=0.0, specimen_shift=0.0,
            repeats=2, scatter=0.008,
        )  # fmt: skip
        made = face_compounds.made(of, np.random.default_rng(5))
        tests = given_tests(made, True, np.random.default_rng(6))
    map_ = best_map(made.stops, Friction(), temperature="initial").map
    return made, tests, map_, face.of_compound(tests, map_, SETTINGS, 0.004)


def model() -> FaceModel:
    found = world()[3].result.model
    assert found is not None
    return found


def test_law_is_the_world_s_where_its_samples_are() -> None:
    made, of = world()[0], model()
    c = made.compound
    t = np.linspace(150.0, 550.0, 17)
    one = np.ones(t.size)
    axis = portable.axis_of(of)
    bar, rpm = c.reference.pressure_bar, 0.7 * c.reference.speed_rpm
    rows = axis.rows(t + ZERO_C, bar * 1e5 * one, rpm * RAD_PER_S * one)
    fitted = np.exp(rows @ np.array(of.coefficients)[:-3])
    true = c.law.mu(t, bar * one, rpm * RAD_PER_S * one, c.reference)
    assert np.abs(fitted / true - 1).max() < 0.06  # on a flank of 5 % per K of face temperature
    assert np.abs(fitted / true - 1)[t > 350].max() < 0.015


def test_friction_corrects_the_heat_inputs_towards_the_truth() -> None:
    made, _, _, found = world()
    true = {"conductivity": made.compound.disc.conductivity, "heat share": made.compound.disc.heat_share}
    for heat in found.result.heat:
        assert abs(np.log(heat.value / true[heat.name])) < 3 * heat.u, heat
        assert heat.u < heat.before_u


def test_law_is_used_and_predicts_cells_and_shape_better() -> None:
    found = world()[3].result
    cells = next(row for row in found.left_out if row.what == "cells")
    assert found.choice is not None and found.choice.used == "law"
    assert cells.law < 0.5 * cells.map
    assert cells.shape_law < 0.3 * cells.shape_map
    assert world()[3].curve is not None and len(found.curve) > 10


def test_what_is_read_back_predicts_the_same() -> None:
    of = model()
    back = FaceModel.model_validate_json(of.model_dump_json())
    c = world()[0].compound
    asked = Asked(
        "x", 300 + ZERO_C, c.reference.speed_rpm * RAD_PER_S, 40.0, 21.0, pressure=c.reference.pressure_bar * 1e5
    )
    assert predict.stop(Drawn.of(of), asked) == predict.stop(Drawn.of(back), asked)


def test_outside_the_data_is_refused_with_direction() -> None:
    drawn, c = Drawn.of(model()), world()[0].compound
    first = c.reference.speed_rpm * RAD_PER_S
    good = Asked("x", 300 + ZERO_C, first, first / 3, 21.0, pressure=c.reference.pressure_bar * 1e5)
    assert predict.stop(drawn, good).why is None
    for change, words in (
        ({"pressure": 2.5 * c.pressures[-1] * 1e5}, "pressure"),
        ({"initial": c.starts[-1] + 400 + ZERO_C}, "face temperature"),
        ({"first": 1.6 * first}, "speed"),
    ):
        said = predict.stop(drawn, replace(good, **change))  # type: ignore[arg-type]
        assert said.mu.value is None and said.time_s.value is None
        assert words in (said.why or "") and "the data" in (said.why or ""), said.why


def test_cold_needs_more_pressure_than_normal_for_one_torque() -> None:
    stops = {(s.name, s.wanted is None): s for s in world()[3].result.stops}
    cold, normal = stops["coldest stop tested, dry", True], stops["normal", True]
    assert cold.mu.value < normal.mu.value
    same = stops["normal", False]
    if same.why is None:
        assert same.pressure_bar.value < cold.pressure_bar.value
        assert same.torque_nm.value == pytest.approx(cold.torque_nm.value, rel=1e-3)


def test_segments_are_even_in_work_and_keep_the_mean() -> None:
    made, tests, _, _ = world()
    stops = made.stops.filter(pl.col("purpose") == "map")
    found = segmented(samples_of(stops, traces(made, np.random.default_rng(1))))
    assert found.y.shape == (len(stops), SEGMENTS)
    sums = found.average @ np.ones(found.average.shape[1])
    assert sums == pytest.approx(np.ones(len(sums)))
    mean = (found.share * np.exp(found.y)).sum(axis=1)
    assert np.abs(mean / stops["mu"].to_numpy() - 1).max() < 0.01
    assert tests[0].name == "face-1"


def test_stops_without_a_trace_are_left_out() -> None:
    made, _, _, _ = world()
    every = traces(made, np.random.default_rng(1))
    kept = samples_of(made.stops, every.filter(pl.col("stop") > 40))
    assert len(kept) == len(made.stops) - 40
    assert kept.table["stop"].min() == 41


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda t: replace(t, card=t.card.model_copy(update={"brake": t.card.brake.model_copy(update={"friction_ring": None})})), "friction_ring"),
        (lambda t: replace(t, stops=t.stops.head(20)), "too few"),
        (lambda t: replace(t, traces=t.traces.head(0)), "trace"),
    ],
)  # fmt: skip
def test_without_what_it_needs_there_is_no_law_and_a_reason(change, why: str) -> None:  # type: ignore[no-untyped-def]
    _, tests, map_, _ = world()
    found = face.of_compound([change(t) for t in tests], map_, SETTINGS, 0.004)
    assert found.curve is None and found.result.model is None
    assert why in (found.result.why or "")


def test_whatever_is_asked_there_are_numbers_or_a_reason() -> None:
    """From far below to far above what was run, in every direction at once; all in one call, as they are for the sheet."""
    rng = np.random.default_rng(11)
    asked = []
    for _ in range(80):
        first = float(np.exp(rng.uniform(np.log(5), np.log(600))))
        wanted = {"pressure": float(np.exp(rng.uniform(np.log(1e2), np.log(1e8))))}
        if rng.random() < 0.4:
            wanted = {"torque": float(np.exp(rng.uniform(np.log(10), np.log(2e4))))}
        initial = float(rng.uniform(230, 1500))
        asked.append(Asked("x", initial, first, first * rng.uniform(0, 0.9), float(rng.uniform(1, 80)), **wanted))
    told = predict.stops(Drawn.of(model(), count=20), asked)
    assert len(told) == len(asked)
    given = [s for s in told if s.why is None]
    for stop in given:
        for value in (stop.mu, stop.mu_single, stop.time_s, stop.torque_nm, stop.pressure_bar, stop.face_peak_c):
            assert value.value is not None and value.low <= value.value <= value.high
    assert all(s.mu.value is None and s.why for s in told if s not in given)
    assert 0 < len(given) < 40


@pytest.mark.parametrize("rows", [5, 60])
def test_coefficients_without_some_stops_are_alike_whichever_matrix_is_smaller(rows: int) -> None:
    rng = np.random.default_rng(rows)
    x, y = rng.normal(size=(200, 12)), rng.normal(size=200)
    information = x.T @ x + np.eye(12)
    whole = np.linalg.solve(information, x.T @ y)
    gone, kept = slice(0, rows), slice(rows, None)
    lost = left_out.without(x[gone], y[gone] - x[gone] @ whole, np.linalg.inv(information), information)
    fewer = np.linalg.solve(x[kept].T @ x[kept] + np.eye(12), x[kept].T @ y[kept])
    assert whole - lost == pytest.approx(fewer, rel=1e-9, abs=1e-12)
