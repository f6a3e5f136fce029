"""The results hold the files, columns and keys that other tools rely on (docs/contract.md), on every sample test."""

from __future__ import annotations

import json
import math
import re

import polars as pl
import pytest
from jsonschema import Draft202012Validator

from pipeline.results.catalogue import FILES
from pipeline.workspace.made import undeclared
from pipeline.workspace.run import load_run
from tests.conftest import REPO, SAMPLES
from tests.docs.contract_keys import KEYS, SLOPES, missing_in_file

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


@pytest.mark.workflow
@pytest.mark.parametrize("test", TESTS)
def test_files_of_a_test(method_results, test):
    folder = method_results / "tests" / test
    stops = pl.read_parquet(folder / "stops.parquet")
    assert {name: stops.schema[name] for name in STOPS} == STOPS
    assert list(stops.columns[: len(STOPS)]) == list(STOPS)
    assert stops["stop"].to_list() == list(range(1, stops.height + 1))
    assert set(stops["status"]) <= {"ok", "suspect", "rejected"}
    assert stops.filter(pl.col("status") == "ok")["mu"].null_count() == 0
    assert all(not stops[c].is_nan().any() for c in stops.columns if stops[c].dtype == pl.Float64)
    assert (folder / "traces.parquet").exists() and (folder / "test.html").exists()
    assert (method_results.parent / "channels" / f"{test}.parquet").exists()

    files = {name: read(folder / f"{name}.json") for name in ("findings", "friction", "wear", "drift")}
    for name, content in files.items():
        assert missing_in_file(KEYS[name], content) == [], name
        assert content["test"] == test and content["method"] == method_results.name

    found = files["findings"]["findings"]
    assert {item["severity"] for item in found} <= {"info", "suspect", "rejected", "unusable"}
    named = {code for codes in stops["findings"].to_list() for code in codes}
    assert named <= {item["code"] for item in found}

    friction = files["friction"]
    if friction["window"] is None:
        assert friction["window_reason"]
    else:
        assert {friction["window"]["low_limited_by"], friction["window"]["high_limited_by"]} <= {"band", "data"}
    slopes = [friction["sensitivity"][name] for name in SLOPES]
    assert all(slope["value"] is not None or slope["why"] for slope in slopes)

    drift = files["drift"]
    assert drift["verdict"] in VERDICTS and set(drift["also"]) <= VERDICTS


@pytest.mark.workflow
@pytest.mark.parametrize("compound", COMPOUNDS)
def test_files_of_a_compound(method_results, compound):
    folder = method_results / "compounds" / compound
    for name in ("sheet.html", "sheet.pdf", "sheet.json", "friction.json", "wear.json", "batches.json", "duty.json"):
        assert (folder / name).stat().st_size > 0, name
    for name in ("batches", "duty"):
        assert missing_in_file(KEYS[name], read(folder / f"{name}.json")) == [], name
    assert missing_in_file(KEYS["compound-friction"], read(folder / "friction.json")) == []
    for pair in read(folder / "batches.json")["pairs"]:
        assert {pair["mu_verdict"], pair["bite_verdict"], pair["wear_verdict"]} <= ANSWERS


@pytest.mark.workflow
@pytest.mark.parametrize(
    "file", [file for file in FILES if not file.place.startswith("deltas")], ids=lambda file: file.name
)
def test_files_are_what_their_schema_says(sample_results, file):
    held_to_its_schema(sample_results.root, file)


@pytest.mark.heavy
@pytest.mark.workflow
@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_files_of_all_methods_are_what_their_schema_says(both_methods, file):
    held_to_its_schema(both_methods.root, file)


def held_to_its_schema(root, file):
    schema = json.loads((REPO / "docs" / "schemas" / f"{file.name}.schema.json").read_text())
    paths = sorted(root.glob(re.sub("<[^>]+>", "*", file.place)))
    assert paths
    checked = Draft202012Validator(schema)
    for path in paths:
        assert [error.message for error in checked.iter_errors(read(path))] == [], path


@pytest.mark.workflow
def test_files_of_a_method(method_results):
    folder = method_results
    archive = read(folder / "archive.json")
    assert sorted(t["test"] for t in archive["tests"]) == TESTS
    assert missing_in_file(KEYS["archive"], archive) == []
    assert {t["status"] for t in archive["tests"]} == {"ok"}
    assert (folder / "index.html").exists() and (folder / "method.yaml").exists()


@pytest.mark.heavy
@pytest.mark.workflow
def test_delta_table(both_methods):
    folder = both_methods.root / "deltas" / "first--revised"
    delta = pl.read_parquet(folder / "delta.parquet")
    assert delta.columns[:10] == ["test", "stop", "block", "mu_a", "mu_b", "mu_difference", "energy_kj_a", "energy_kj_b", "status_a", "status_b"]  # fmt: skip
    both = delta.filter(pl.col("mu_difference").is_not_null())
    assert both.height > 1000
    difference = (both["mu_b"] - both["mu_a"] - both["mu_difference"]).abs().max()
    assert difference is not None and difference < 1e-12 and math.isfinite(difference)
    assert (folder / "delta.html").exists()


@pytest.mark.heavy
@pytest.mark.workflow
def test_each_setting_s_share_adds_up_to_the_results_of_both_methods(both_methods):
    """The change of all settings together is that of the two methods' own tables; each alone and the interaction add up to it."""
    folder = both_methods.root / "deltas" / "first--revised"
    found, table = read(folder / "shares.json"), pl.read_parquet(folder / "shares.parquet")
    assert [one["name"] for one in found["settings"]] == ["reduction.average", "reduction.build_up"]
    assert (found["tests"], found["left_out"], found["reductions"]) == (["m4-2403-a", "m6-2406-a"], {}, 4)
    wide = table.pivot("setting", index=["test", "stop"], values="mu_relative")
    parts = wide["reduction.average"] + wide["reduction.build_up"] + wide["interaction"]
    assert (parts - wide["together"]).abs().max() < 1e-12
    delta = pl.read_parquet(folder / "delta.parquet")
    both = wide.join(delta, on=["test", "stop"])
    assert both.height == found["stops"] > 300
    assert (both["mu_difference"] / both["mu_a"] - both["together"]).abs().max() < 1e-9
    assert read(folder / "delta.json")["verdict"][0].endswith("verdict changed.")


@pytest.mark.workflow
def test_every_file_is_an_output_or_known_by_a_rule(sample_results):
    """What a run does not know it would not miss."""
    run, root = load_run(sample_results.config), sample_results.root
    files = [path for top in ("channels", "assets", *run.methods) for path in (root / top).rglob("*") if path.is_file()]
    assert len(files) > 300 and undeclared(run, files) == []


@pytest.mark.workflow
def test_nothing_half_written_and_no_fault_of_ours(sample_results):
    assert not list(sample_results.root.rglob("*.part"))
    assert not list(sample_results.root.rglob("*.fault.txt"))
