"""The compound stage: four files to docs/contract.md, unusable tests left out, nulls with reasons."""

from __future__ import annotations

import json

import pytest

from pipeline.archive.targets import Target
from pipeline.compound import stage
from pipeline.compound.tests_of import wear_rates
from pipeline.results import read_json, write_text
from pipeline.results.batches import CompoundBatches
from pipeline.results.duty import CompoundDuty
from pipeline.results.model import Interval, read, renewed
from pipeline.results.wear import (
    CompoundComponent,
    CompoundWear,
    FittedLaw,
    Rates,
    RateStops,
    TestComponent,
    TestWear,
    WearInterval,
    WearSpecimen,
)
from tests.compound.makers import SETTINGS, compound, write_unusable


def run(paths, tests, target=True, duties=True):
    stage.run(
        compound="Marram 4", archive=paths["archive"], tests=tests, results=paths["results"], rigs=paths["rigs"],
        target=paths["target"] if target else None, duties=[paths["duty"]] if duties else [], settings=SETTINGS, into=paths["into"],
    )  # fmt: skip
    return {name: read_json(paths["into"] / f"{name}.json") for name in ("friction", "wear", "batches", "duty")}


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    root = tmp_path_factory.mktemp("compound")
    paths = compound(root, {"b1": [1.0, 1.012], "b2": [1.005, 0.995], "b3": [0.86, 0.865]})
    write_unusable(root, "b4-a")
    tests = sorted(p.name for p in (root / "archive").iterdir())
    return run(paths, tests), paths


def test_batches_to_the_contract(results):
    found = results[0]["batches"]
    assert {"compound", "method", "reference", "batches", "pairs"} <= set(found)
    assert found["reference"] == results[0]["friction"]["reference"]
    assert found["reference"]["temperature_c"] == pytest.approx(300, abs=3)
    assert [b["batch"] for b in found["batches"]] == ["b1", "b2", "b3"]
    for pair in found["pairs"]:
        keys = {
            "a",
            "b",
            "mu_difference",
            "mu_verdict",
            "bite_difference",
            "bite_verdict",
            "wear_ratio",
            "wear_verdict",
            "caveat",
        }
        assert keys <= set(pair)
        assert pair["wear_verdict"] == "undecided" and pair["wear_ratio"]["why"]


def test_the_odd_batch_is_found_at_its_size(results):
    verdicts = {(p["a"], p["b"]): p["mu_verdict"] for p in results[0]["batches"]["pairs"]}
    assert verdicts == {("b1", "b2"): "equivalent", ("b1", "b3"): "different", ("b2", "b3"): "different"}
    by = {b["batch"]: b["mu"]["value"] for b in results[0]["batches"]["batches"]}
    assert by["b3"] / by["b1"] == pytest.approx(0.8625 / 1.006, rel=0.01)


def test_a_duty_goes_by_the_friction_of_the_batches_where_they_are_unlike(results):
    (duty,) = results[0]["duty"]["duties"]
    told, windows = duty["window_of"], [one["window"] for one in results[0]["friction"]["by_batch"]]
    assert "b1 and b3 different, b2 and b3 different" in told["why"]
    if None in windows:
        assert told["low_c"] is None and duty["window_share"] is None and "has no window" in duty["window_share_why"]
    else:
        assert told["low_c"] == max(one["low_c"] for one in windows)
        assert told["high_c"] == min(one["high_c"] for one in windows)
    assert "by b3, whose µ" in duty["line_pressure_of"]
    assert duty["line_pressure_bar"] and {one["batch"] for one in duty["line_pressure_bar"]} == {"b3"}


def test_duty_has_its_figures(results):
    (duty,) = results[0]["duty"]["duties"]
    keys = {"duty", "opening", "temperature_low_c", "temperature_high_c", "window_share", "glazing_share", "wear_um_per_cycle",
            "life_cycles", "life_km", "opening_to_run", "extrapolated"}  # fmt: skip
    assert keys <= set(duty)
    assert set(duty["wear_um_per_cycle"]) == {"disc", "pad"}
    assert duty["temperature_low_c"] < duty["temperature_high_c"]
    if duty["window_of"]["low_c"] is None:
        assert duty["window_share"] is None and duty["window_share_why"]
    else:
        assert 0 <= duty["window_share"] <= 1
    assert duty["life_cycles"]["value"] is None and duty["life_cycles"]["why"]


def test_unusable_tests_are_named_and_nothing_else_is_lost(results):
    for content in results[0].values():
        assert content["tests_left_out"] == {"b4-a": "test.yaml: batch: missing"}
    assert results[0]["friction"]["stops_used"] > 300


def test_files_are_whole_and_without_nan(results):
    def refuse(text):
        raise AssertionError(f"{text} is no JSON number")

    assert read(results[1]["into"] / "batches.json", CompoundBatches).compound == "Marram 4"
    assert read(results[1]["into"] / "duty.json", CompoundDuty).compound == "Marram 4"
    names = sorted(path.name for path in results[1]["into"].iterdir())
    assert names == ["batches.json", "duty.json", "friction.json", "targets.json", "wear.json"]
    for name in names:
        json.loads((results[1]["into"] / name).read_text(), parse_constant=refuse)


def test_no_usable_test_still_gives_four_files(tmp_path):
    paths = compound(tmp_path, {})
    write_unusable(tmp_path, "b4-a")
    found = run(paths, ["b4-a"])
    assert found["batches"]["batches"] == [] and found["batches"]["pairs"] == []
    assert found["duty"]["duties"][0]["temperature_high_c"] is None and found["duty"]["duties"][0]["why"]
    assert found["friction"]["window"] is None and found["friction"]["window_reason"]
    assert found["wear"]["why"]


def test_one_batch_no_target_no_duty(tmp_path):
    paths = compound(tmp_path, {"b1": [1.0]})
    found = run(paths, ["b1-a"], target=False, duties=False)
    assert found["batches"]["pairs"] == []
    assert found["batches"]["batches"][0]["mu"]["low"] is None and found["batches"]["batches"][0]["mu"]["why"]
    assert found["duty"]["duties"] == []


def test_a_bad_duty_or_target_file_is_left_out(tmp_path):
    paths = compound(tmp_path, {"b1": [1.0, 1.01], "b2": [1.0, 0.99]})
    write_text(paths["duty"], "duty: ridge\nspeedy: 1\n")
    write_text(paths["target"], "compound: Marram 4\nmargin: 0.03\n")
    found = run(paths, ["b1-a", "b1-b", "b2-a", "b2-b"])
    assert found["duty"]["duties"] == []
    assert "duty.yaml" in found["duty"]["duties_left_out"]
    assert found["batches"]["pairs"][0]["mu_verdict"] == "undecided"
    assert any("target left out" in note for note in found["batches"]["notes"])


class OfTest:
    """A test with a disc's rate over its stops 21 to 120, and the rows that the compound's law gives it."""

    def __init__(self, name, rate):
        self.name = name
        stops = RateStops(from_stop=20, to_stop=120, count=100, energy_mj=25.0)
        rates = Rates(um_per_stop=Interval(value=rate, low=rate, high=rate), stops=stops)
        self.wear = TestWear(test=name, components={"disc": TestComponent(rates=rates)})

    def rows(self, predicted):
        ends = ((0, 20, 60.0), (20, 70, predicted * 50), (70, 120, predicted * 50))
        return [
            WearInterval(
                test=self.name, from_stop=a, to_stop=b, wear_um=1.0, wear_u_um=1.0, in_models=True, predicted_um=um
            )
            for a, b, um in ends
        ]


def disc_wear(rows, *, identified=None):
    """wear.json of a compound whose disc has these intervals and an energy law, identified or not; None: no law."""
    if identified is None:
        return CompoundWear(compound="c", components={"disc": CompoundComponent(intervals=rows)})
    why = None if identified else "a is loose"
    law = FittedLaw(model="energy", parameters={}, identified=identified, effective=False, why=why)
    component = CompoundComponent(intervals=rows, models=[law], chosen="energy")
    return CompoundWear(compound="c", components={"disc": component})


def test_wear_of_unlike_programs_is_brought_together_by_the_law():
    tests = [OfTest("a", 2.0), OfTest("b", 2.2), OfTest("gentle", 1.0)]
    rows = tests[0].rows(1.9) + tests[1].rows(1.9) + tests[2].rows(0.95)
    rates = wear_rates(tests, disc_wear(rows, identified=True))
    assert rates["b"][0] / rates["a"][0] == pytest.approx(1.1)  # one program: as measured
    assert rates["gentle"][0] / rates["a"][0] == pytest.approx(1.0)
    assert rates["a"][:4] == (2.0, 2.0, 2.0, 1.0)
    assert rates["gentle"].factor == pytest.approx(2.0)


def test_a_law_that_is_not_identified_brings_no_programs_together():
    tests = [OfTest("a", 2.0), OfTest("b", 2.2), OfTest("gentle", 1.0)]
    rows = tests[0].rows(1.9) + tests[1].rows(1.9) + tests[2].rows(0.95)
    rates = wear_rates(tests, disc_wear(rows, identified=False))
    assert rates["gentle"][:4] == (1.0, 1.0, 1.0, 1.0)
    assert rates["gentle"].unscaled == "no wear law is identified: a is loose"
    assert rates["a"].expected / rates["gentle"].expected == pytest.approx(2.0)


def test_without_a_law_wear_rates_are_as_run():
    tests = [OfTest("a", 2.0), OfTest("gentle", 1.0)]
    unknown = [renewed(row, predicted_um=None) for t in tests for row in t.rows(1.0)]
    for rows in ([], unknown):
        assert wear_rates(tests, disc_wear(rows))["gentle"][0] == 1.0
    assert wear_rates(tests, CompoundWear(compound="c"))["gentle"][0] == 1.0


def test_conditions_that_were_not_kept_are_the_references():
    import numpy as np
    import polars as pl

    from pipeline.friction.map import fit_map
    from pipeline.method.friction import Friction
    from tests.compound.makers import program

    stops = program(1.0, 3).with_columns(test=pl.lit("t"), batch=pl.lit("b"), specimen=pl.lit("s"))
    shape, at_reference = stage.shape_of(fit_map(stops, Friction()))
    kept = stops.head(4).with_columns(
        pl.lit(None, pl.Float64).alias(c) for c in ("energy_density_j_mm2", "speed_start_rpm")
    )
    assert np.isfinite(shape(kept)).all()
    assert shape(kept) == pytest.approx(shape(stops.head(4)), rel=0.02)
    assert at_reference == pytest.approx(0.46, abs=0.02)
    assert stage.shape_of(None) == (None, None)


def test_pads_that_wore_apart_are_named_beside_the_discs_answer():
    def rows(low):
        factors = {"b1": [1.0, 1.02], "b2": [low, low * 1.02]}
        return [
            WearSpecimen(test="t", batch=b, specimen="A", factor=Interval(value=f))
            for b, every in factors.items()
            for f in every
        ]

    target = Target(compound="Marram 4", wear_batch_ratio=("0.8", "1.25"))
    low = {"disc": 0.5, "pad_inner": 1.3, "pad_outer": 1.1}
    parts = {name: CompoundComponent(specimens=rows(value)) for name, value in low.items()}
    wear = CompoundWear(compound="c", components=parts)
    (note,) = stage.pad_notes(wear, target)
    assert "pad inner" in note and "b1 / b2 0.77" in note


def test_a_duty_by_its_log_is_projected_and_a_bad_one_left_out(tmp_path):
    from tests.duty import logs

    paths = compound(tmp_path, {"b1": [1.0, 1.012], "b2": [1.005, 0.995]})
    good, bad = tmp_path / "good", tmp_path / "bad"
    for folder in (good, bad):
        folder.mkdir()
        logs.samples(logs.drive(), 20).write_csv(folder / "log.csv")
    log = {"file": "log.csv", "channels": logs.channels("speed", "pressure")}
    files = [logs.duty_file(good, log), logs.duty_file(bad, log | {"channels": logs.channels("speed", speed="m/s")})]
    tests = sorted(p.name for p in (tmp_path / "archive").iterdir())
    stage.run(
        compound="Marram 4", archive=paths["archive"], tests=tests, results=paths["results"], rigs=paths["rigs"],
        target=paths["target"], duties=files, settings=SETTINGS, into=paths["into"],
    )  # fmt: skip
    found = read(paths["into"] / "duty.json", CompoundDuty)
    (one,) = found.duties
    assert one.log is not None and [round(e.from_kmh) for e in one.log.events] == pytest.approx(
        [140, 96, 150, 88], abs=1
    )
    assert one.log.temperature is not None and one.log.temperature.why and one.log.work_ratio_why
    assert (
        one.temperature_high_c is not None and one.soak is not None and one.soak.highest_c > one.soak.temperature_c[-1]
    )
    assert len(one.line_pressure_bar) == 4
    for pressed in one.line_pressure_bar:
        assert (pressed.value is None) == bool(pressed.why)
    assert found.duties_left_out.keys() == {"logged.yaml"} and "km/h" in found.duties_left_out["logged.yaml"]
    assert found.stamp is not None and "duties/log.csv" in found.stamp.inputs


@pytest.mark.heavy  # by default without the stage: tests/duty/test_driven.py
def test_a_duty_whose_cooling_a_drive_tells_is_projected_with_it(tmp_path):
    from tests.duty.test_driven import cycle, table_of

    paths = compound(tmp_path, {"b1": [1.0, 1.012], "b2": [1.005, 0.995]})
    cycle(tmp_path, table_of()[1], uses=2)
    tests = sorted(p.name for p in (tmp_path / "archive").iterdir())
    stage.run(
        compound="Marram 4", archive=paths["archive"], tests=tests, results=paths["results"], rigs=paths["rigs"],
        target=paths["target"], duties=[tmp_path / "driven.yaml"], settings=SETTINGS, into=paths["into"],
    )  # fmt: skip
    found = read(paths["into"] / "duty.json", CompoundDuty)
    (one,) = found.duties
    assert one.log is None and one.cooling_log is not None and one.cooling_log.used and one.cooling_log.uses == 2
    assert one.cooling is not None and one.cooling.source.startswith("duty file, times ")
    known = next(item for item in one.inputs if item.name == "cooling")
    assert known.u == one.cooling_log.u and "log" in known.source
    assert one.settling_test is None or one.settling_test.log is None
    assert found.stamp is not None and "duties/log.csv" in found.stamp.inputs
