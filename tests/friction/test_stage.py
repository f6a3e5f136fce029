"""The friction stage on files: keys of docs/contract.md, unusable tests, odd targets."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.friction import stage
from pipeline.method import Method, settings_of
from pipeline.results import write_json, write_parquet
from pipeline.results.friction import TestFriction
from pipeline.results.model import read
from pipeline.vocabulary import STOPS, TRACES, empty
from tests.friction.makers import Law, one_test

SETTINGS = settings_of(Method(), "friction")
TARGET = "compound: Marram 4\ntemperature_window: [280 degC, 580 degC]\nmu: [0.38, 0.56]\n"
CARD = """schema: 1
compound: Marram 4
batch: M4-1
specimen: A
date: 2026-01-12
rig: north
procedure: characterisation
brake: {friction_ring: {outer_diameter: 296 mm, inner_diameter: 206 mm}, pistons_per_side: [28 mm], pad_area: 47 cm^2,
        disc: {thickness: 28 mm, heat_capacity: carbon}}
inertia: 26 kg m^2
recordings:
  files: recordings/*.csv
  channels: {time: {column: t, unit: s}, speed: {column: n, unit: rpm}, torque: {column: M, unit: N m},
             pressure: {column: p, unit: bar}, disc_temperature: {column: T, unit: degC}}
blocks:
  - {name: check 1, purpose: check, kind: snub, stops: 6, speed: [1500 rpm, 500 rpm], pressure: 40 bar, initial_temperature: 300 degC}
"""


def run_on(
    folder: Path, stops: pl.DataFrame, target: str | None = TARGET, unusable: str | None = None,
    excluded: pl.DataFrame | None = None, more: str = "",
) -> TestFriction:  # fmt: skip
    """Write a test's inputs, run the stage, read its result strictly."""
    into, test = folder / "results" / "first" / "tests" / "t1", folder / "archive" / "t1"
    test.mkdir(parents=True)
    (test / "test.yaml").write_text(CARD + more)
    write_parquet(into / "stops.parquet", stops)
    write_parquet(into / "traces.parquet", empty(TRACES))
    write_parquet(into / "excluded.parquet", empty(STOPS) if excluded is None else excluded)
    write_json(into / "summary.json", {"test": "t1", "unusable": unusable, "mu_u_common_relative": 0.006})
    wanted = None
    if target is not None:
        wanted = folder / "target.yaml"
        wanted.write_text(target)
    stage.run(folder=test, settings=SETTINGS, target=wanted, into=into)
    text = (into / "friction.json").read_text()
    assert "NaN" not in text and not list(into.glob("*.part"))
    return read(into / "friction.json", TestFriction)


@pytest.fixture(scope="module")
def stops() -> pl.DataFrame:
    return one_test(Law(), np.random.default_rng(3))


def test_contract_keys(tmp_path: Path, stops: pl.DataFrame) -> None:
    found = run_on(tmp_path, stops)
    assert (found.test, found.method, found.stops_used) == ("t1", "first", len(stops))
    window = found.window
    assert window.low_c < window.high_c
    assert (window.low_limited_by, window.high_limited_by) == ("band", "data")
    assert window.low_interval_c.low <= window.low_c <= window.low_interval_c.high
    estimate = found.window_estimate
    assert estimate.low_interval_c.low <= estimate.low_c < window.low_c and estimate.high_limited_by == "data"
    assert window.low_c - estimate.low_c < 15.0
    point = found.curve[0]
    assert point.tolerance_low < point.low < point.mu < point.high < point.tolerance_high
    slopes = found.sensitivity
    for key in ("temperature_per_100c", "pressure_per_10bar", "speed_per_100rpm", "energy_per_j_mm2"):
        slope = getattr(slopes, key)
        assert slope.low < slope.value < slope.high
    assert found.bedding is None and found.fade is None and found.recovery is None
    assert found.holds.answer == "yes" and found.sides.high_energy.answer == "not shown"
    assert found.stamp.stage == "friction"


def test_curve_is_given_inside_the_data_only(tmp_path: Path, stops: pl.DataFrame) -> None:
    found = run_on(tmp_path, stops)
    t = stops["temperature_initial_c"]
    assert found.curve[0].temperature_c == pytest.approx(t.min(), abs=0.01)
    assert found.curve[-1].temperature_c == pytest.approx(t.max(), abs=0.01)


def test_without_target_the_plateau_gives_the_band(tmp_path: Path, stops: pl.DataFrame) -> None:
    found = run_on(tmp_path, stops, target=None)
    low, high = found.wanted_mu
    assert high / low == pytest.approx(1.15 / 0.85) and found.window is not None
    assert "no target" in found.wanted_from and found.holds is None and found.sides is None


def test_unusable_test(tmp_path: Path) -> None:
    found = run_on(tmp_path, empty(STOPS), unusable="test.yaml: inertia: missing")
    assert found.unusable == "test.yaml: inertia: missing" and found.window is None and found.curve == []


def test_test_without_map_stops_still_has_its_bedding(tmp_path: Path) -> None:
    from tests.makers import stops_frame

    mu = 0.45 - 0.09 * np.exp(-np.arange(30) / 5)
    found = run_on(tmp_path, stops_frame(30, mu=mu, purpose="bedding"))
    assert found.window is None and "0 usable stops" in found.window_reason
    assert found.bedding.stops == pytest.approx(10, abs=1)


def test_target_that_cannot_be_read_is_no_target(tmp_path: Path, stops: pl.DataFrame) -> None:
    found = run_on(tmp_path, stops, target="compound: Marram 4\nmuu: [0.38, 0.56]\n")
    assert found.holds is None and found.window is not None


def test_no_sensors_is_said(tmp_path: Path, stops: pl.DataFrame) -> None:
    found, _ = stage.of_test(stops, Method(), stage.Wanted(), None)
    assert "no sensor accuracies" in found.common_reason


MANGLED = {
    "constant mu": {"mu": pl.lit(0.42)},
    "one temperature": {"temperature_initial_c": pl.lit(300.0)},
    "two temperatures": {"temperature_initial_c": pl.when(pl.col("stop") > 50).then(900.0).otherwise(60.0)},
    "nothing varied": {"pressure_bar": pl.lit(40.0), "speed_start_rpm": pl.lit(1500.0), "energy_density_j_mm2": pl.lit(23.0)},
    "energy follows temperature": {"energy_density_j_mm2": pl.col("temperature_initial_c") / 20},
    "mu without scatter": {"mu": 0.42 + 1e-4 * pl.col("stop")},
    "nulls and negatives": {"mu": pl.when(pl.col("stop") % 3 == 0).then(None).when(pl.col("stop") % 7 == 0).then(-0.1).otherwise(pl.col("mu"))},
    "nothing but mu and temperature": {c: pl.lit(None, pl.Float64) for c in ("pressure_bar", "speed_start_rpm", "energy_density_j_mm2",
                                       "mu_bite", "mu_rise", "mu_u_stop", "idle_before_s")},
    "wild mu": {"mu": pl.col("mu") * (1 + 5 * (pl.col("stop") % 11 == 0).cast(pl.Float64))},
}  # fmt: skip


@pytest.mark.parametrize("name", MANGLED)
@pytest.mark.parametrize("count", [0, *(pytest.param(count, marks=pytest.mark.heavy) for count in (7, 113)), 60])
def test_odd_tables_give_a_result_or_a_reason(stops: pl.DataFrame, name: str, count: int) -> None:
    """No exception, no NaN, no band that is not a band."""
    part = stops.sample(count, seed=3).sort("stop").with_columns(**MANGLED[name])
    found, _ = stage.of_test(part, Method(), stage.Wanted((0.38, 0.56), (553.0, 853.0)), None)
    json.dumps(found.model_dump(by_alias=True), allow_nan=False)
    assert found.curve or found.window_reason
    for point in found.curve:
        assert point.tolerance_low <= point.low <= point.mu <= point.high <= point.tolerance_high
    if found.window is None:
        assert found.window_reason
