"""The results hold the files, columns and keys that other tools rely on (docs/results.md), on every sample test."""

from __future__ import annotations

import json
import math

import polars as pl
import pytest

from tests.conftest import SAMPLES

METHODS = ("first", "revised")
TESTS = sorted(p.name for p in (SAMPLES / "archive").iterdir() if p.is_dir())
COMPOUNDS = ("marram-4", "marram-6")

STOPS = {
    "stop": pl.Int64, "file": pl.String, "block": pl.String, "purpose": pl.String, "kind": pl.String, "start_s": pl.Float64,
    "duration_s": pl.Float64, "speed_start_rpm": pl.Float64, "speed_end_rpm": pl.Float64, "pressure_bar": pl.Float64,
    "torque_nm": pl.Float64, "mu": pl.Float64, "mu_u": pl.Float64, "mu_bite": pl.Float64, "mu_start": pl.Float64,
    "mu_end": pl.Float64, "mu_min": pl.Float64, "mu_max": pl.Float64, "mu_time": pl.Float64, "mu_distance": pl.Float64,
    "mu_energy": pl.Float64, "temperature_initial_c": pl.Float64, "temperature_end_c": pl.Float64,
    "temperature_mean_c": pl.Float64, "temperature_peak_c": pl.Float64, "energy_kj": pl.Float64,
    "kinetic_energy_kj": pl.Float64, "energy_ratio": pl.Float64, "energy_density_j_mm2": pl.Float64,
    "power_density_w_mm2": pl.Float64, "sliding_distance_m": pl.Float64, "deceleration_mps2": pl.Float64,
    "status": pl.String, "findings": pl.List(pl.String),
}  # fmt: skip
VERDICTS = {"none", "glazing-like", "fade", "bedding-in", "sensor", "moisture", "undetermined"}
ANSWERS = {"equivalent", "different", "undecided"}


def read(path):
    def refuse(text):
        raise AssertionError(f"{path}: {text} is no JSON number")

    return json.loads(path.read_text(), parse_constant=refuse)


def is_interval(value):
    return value is None or {"value", "low", "high"} <= set(value)


@pytest.mark.workflow
@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("test", TESTS)
def test_files_of_a_test(sample_results, method, test):
    folder = sample_results.root / method / "tests" / test
    stops = pl.read_parquet(folder / "stops.parquet")
    assert {name: stops.schema[name] for name in STOPS} == STOPS
    assert list(stops.columns[: len(STOPS)]) == list(STOPS)
    assert stops["stop"].to_list() == list(range(1, stops.height + 1))
    assert set(stops["status"]) <= {"ok", "suspect", "rejected"}
    assert stops.filter(pl.col("status") == "ok")["mu"].null_count() == 0
    assert all(not stops[c].is_nan().any() for c in stops.columns if stops[c].dtype == pl.Float64)
    assert (folder / "traces.parquet").exists() and (folder / "test.html").exists()
    assert (sample_results.root / "channels" / f"{test}.parquet").exists()

    found = read(folder / "findings.json")
    assert {"test", "method", "findings"} <= set(found)
    for item in found["findings"]:
        keys = {"code", "severity", "stop", "file", "channel", "start_s", "end_s", "message", "evidence", "action"}
        assert keys <= set(item)
        assert item["severity"] in {"info", "suspect", "rejected", "unusable"}
    named = {code for codes in stops["findings"].to_list() for code in codes}
    assert named <= {item["code"] for item in found["findings"]}

    friction = read(folder / "friction.json")
    keys = {
        "test",
        "method",
        "stops_used",
        "reference",
        "window",
        "curve",
        "sensitivity",
        "bedding",
        "fade",
        "recovery",
    }
    assert keys <= set(friction)
    assert {"temperature_c", "pressure_bar", "speed_rpm", "energy_density_j_mm2"} <= set(friction["reference"])
    if friction["window"] is None:
        assert friction["window_reason"]
    else:
        assert {"low_c", "high_c", "low_limited_by", "high_limited_by", "mu_mean", "mu_low", "mu_high", "confidence", "coverage"} <= set(friction["window"])  # fmt: skip
        assert {friction["window"]["low_limited_by"], friction["window"]["high_limited_by"]} <= {"band", "data"}
    for point in friction["curve"]:
        assert {"temperature_c", "mu", "low", "high", "tolerance_low", "tolerance_high"} <= set(point)
    for name in ("temperature_per_100c", "pressure_per_10bar", "speed_per_100rpm", "energy_per_j_mm2"):
        value = friction["sensitivity"][name]
        assert {"value", "low", "high"} <= set(value)
        assert value["value"] is not None or value["why"]

    wear = read(folder / "wear.json")
    disc = wear["components"]["disc"]
    assert {"intervals", "models", "chosen", "mass_to_thickness", "rates"} <= set(disc)
    assert all({"from_stop", "to_stop", "wear_um", "wear_u_um", "wear_g"} <= set(i) for i in disc["intervals"])
    for model in disc["models"]:
        assert {"model", "parameters", "chi2_per_dof", "aicc", "loo_rmse_um", "identified", "effective", "why"} <= set(
            model
        )
    rates = ("um_per_stop", "um_per_stop_per_face", "mm3_per_mj", "mm3_per_n_m")
    assert all(is_interval(disc["rates"][name]) for name in rates)

    drift = read(folder / "drift.json")
    keys = {"test", "method", "verdict", "onset_stop", "onset_low", "onset_high", "mu_loss", "mu_loss_share", "recovered", "also", "evidence"}  # fmt: skip
    assert keys <= set(drift)
    assert drift["verdict"] in VERDICTS and set(drift["also"]) <= VERDICTS
    for name in (found, friction, wear, drift):
        assert name["test"] == test and name["method"] == method


@pytest.mark.workflow
@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("compound", COMPOUNDS)
def test_files_of_a_compound(sample_results, method, compound):
    folder = sample_results.root / method / "compounds" / compound
    for name in ("sheet.html", "sheet.pdf", "sheet.json", "friction.json", "wear.json", "batches.json", "duty.json"):
        assert (folder / name).stat().st_size > 0, name
    batches = read(folder / "batches.json")
    assert {"compound", "method", "reference", "batches", "pairs"} <= set(batches)
    for batch in batches["batches"]:
        assert {"batch", "tests", "specimens", "mu", "bite", "wear_um_per_stop"} <= set(batch)
    for pair in batches["pairs"]:
        assert {"a", "b", "mu_difference", "mu_verdict", "bite_difference", "bite_verdict", "wear_ratio", "wear_verdict", "caveat"} <= set(pair)  # fmt: skip
        assert {pair["mu_verdict"], pair["bite_verdict"], pair["wear_verdict"]} <= ANSWERS
    duty = read(folder / "duty.json")
    assert {"compound", "method", "duties"} <= set(duty)
    for item in duty["duties"]:
        assert {"duty", "opening", "temperature_low_c", "temperature_high_c", "window_share", "glazing_share", "wear_um_per_cycle", "life_cycles", "life_km", "opening_to_run", "extrapolated"} <= set(item)  # fmt: skip


@pytest.mark.workflow
@pytest.mark.parametrize("method", METHODS)
def test_files_of_a_method(sample_results, method):
    folder = sample_results.root / method
    archive = read(folder / "archive.json")
    assert sorted(t["test"] for t in archive["tests"]) == TESTS
    assert all({"test", "compound", "status", "why"} <= set(t) for t in archive["tests"])
    assert {t["status"] for t in archive["tests"]} == {"ok"}
    assert (folder / "index.html").exists() and (folder / "method.yaml").exists()


@pytest.mark.workflow
def test_delta_table(sample_results):
    folder = sample_results.root / "deltas" / "first--revised"
    delta = pl.read_parquet(folder / "delta.parquet")
    assert delta.columns[:10] == ["test", "stop", "block", "mu_a", "mu_b", "mu_difference", "energy_kj_a", "energy_kj_b", "status_a", "status_b"]  # fmt: skip
    both = delta.filter(pl.col("mu_difference").is_not_null())
    assert both.height > 1000
    difference = (both["mu_b"] - both["mu_a"] - both["mu_difference"]).abs().max()
    assert difference is not None and difference < 1e-12 and math.isfinite(difference)
    assert (folder / "delta.html").exists()


@pytest.mark.workflow
def test_nothing_half_written_and_no_fault_of_ours(sample_results):
    assert not list(sample_results.root.rglob("*.part"))
    assert not list(sample_results.root.rglob("*.fault.txt"))
