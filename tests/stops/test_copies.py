"""Tests of an archive that hold the same recordings are found by what was measured, whatever format or card they come with."""

import numpy as np
import polars as pl
import pytest
import yaml

from pipeline.stops import copies as module
from pipeline.stops.copies import copies, counted_no_more
from rig_samples.simulator import MARRAM_4, Block, Identity, Style, simulate, write_test
from rig_samples.simulator import Rig as RecordedOn
from tests.hostile.chain import METHOD, to_stops
from tests.makers import stops_frame


def run_of(seed: int, n: int = 60) -> pl.DataFrame:
    """One program on one specimen: levels as the rig holds them, torque by the specimen's own friction."""
    rng = np.random.default_rng(seed)
    pressure = np.repeat([15.0, 30.0, 45.0], n // 3) * (1 + 0.005 * rng.standard_normal(n))
    mu = (0.42 + 0.01 * rng.standard_normal()) * (1 + 0.008 * rng.standard_normal(n))
    torque = 2600 * pressure / 45 * mu
    speed = np.repeat([1500.0, 1800.0, 1200.0], n // 3) * (1 + 0.0005 * rng.standard_normal(n))
    energy = speed**2 / 1e4 * (1 + 0.003 * rng.standard_normal(n))
    return stops_frame(
        n, pressure_bar=pressure, torque_nm=torque, speed_start_rpm=speed, energy_kj=energy, mu=mu,
        duration_s=2.2e3 * energy / (torque * speed), temperature_initial_c=300 + 3 * rng.standard_normal(n),
    )  # fmt: skip


def exported_again(stops: pl.DataFrame, seed: int = 9) -> pl.DataFrame:
    """The same recordings in another format: rounding of time and values, another card's pistons."""
    rng = np.random.default_rng(seed)
    n = len(stops)
    return stops.with_columns(
        mu=pl.col("mu") * 0.93,
        torque_nm=pl.col("torque_nm") + 0.03 * rng.standard_normal(n),
        pressure_bar=pl.col("pressure_bar") + 0.001 * rng.standard_normal(n),
        duration_s=pl.col("duration_s") + 0.0006 * rng.standard_normal(n),
        temperature_initial_c=pl.col("temperature_initial_c") + 0.02 * rng.standard_normal(n),
        energy_kj=pl.col("energy_kj") * (1 + 1e-4 * rng.standard_normal(n)),
    )


def test_specimens_of_one_program_are_no_copies():
    assert copies({str(seed): run_of(seed) for seed in range(12)}) == []


def test_one_test_in_two_formats_is_one():
    tests = {"a": run_of(1), "b": run_of(2), "c": exported_again(run_of(1))}
    (one,) = copies(tests)
    assert (one.test, one.of, one.whole) == ("c", "a", True)
    assert one.share > 0.9
    assert counted_no_more([one]) == {"c": "a"}


def test_of_many_tests_the_same_pairs_are_found_without_looking_at_each(monkeypatch):
    tests = {f"{seed:02}": run_of(seed) for seed in range(24)}
    tests |= {"x": exported_again(run_of(3)), "y": exported_again(run_of(5))[:12], "none": run_of(1)[:0]}
    looked, known = [], module._common
    monkeypatch.setattr(module, "_common", lambda a, b: looked.append(1) or known(a, b))
    found = copies(tests)
    assert [(one.test, one.of, one.whole) for one in found] == [("x", "03", True), ("y", "05", True)]
    assert 2 <= len(looked) < len(tests)
    monkeypatch.setattr(module, "FEW", 100)
    assert copies(tests) == found and len(looked) > 300


def test_the_better_of_two_counts_and_of_three_only_one():
    worse = run_of(1).with_columns(status=pl.lit("suspect"))
    found = copies({"a": worse, "b": run_of(1), "c": exported_again(run_of(1))})
    assert counted_no_more(found) == {"a": "b", "c": "b"}


@pytest.mark.parametrize(
    ("shared", "told", "whole"), [(0, False, False), (3, False, False), (12, True, False), (45, True, True)]
)
def test_a_few_stops_in_common_are_told_and_half_makes_one(shared, told, whole):
    mixed = pl.concat([run_of(1)[:shared], run_of(2)[shared:]])
    found = [c for c in copies({"a": run_of(1), "b": mixed}) if c]
    assert bool(found) is told
    assert [c.whole for c in found] == [whole] * told
    assert counted_no_more(found) == ({"b": "a"} if whole else {})


def test_a_part_of_a_test_is_a_copy_of_it():
    (one,) = copies({"whole": run_of(3), "part": exported_again(run_of(3)[20:45])})
    assert (one.test, one.of, one.stops) == ("part", "whole", 25)


def test_stops_that_are_all_alike_say_nothing():
    """Invented or idealised tables: equal stops are no sign of a copy."""
    assert copies({"a": stops_frame(20), "b": stops_frame(20)}) == []
    assert copies({"a": stops_frame(0), "b": run_of(1)}) == []
    assert copies({"a": run_of(1).with_columns(torque_nm=pl.lit(None, pl.Float64)), "b": run_of(1)}) == []


def test_one_test_as_text_and_as_parquet_through_ingest_and_reduction(tmp_path):
    """Recordings rounded as text, and the same exported as Parquet in other units by a recorder with other column names."""
    test = simulate(
        [Block("map 200", "map", 6, initial=200.0), Block("check", "check", 4)],
        MARRAM_4,
        seed=3,
        rig=RecordedOn(sample_rate=50.0),
    )
    archive = tmp_path / "archive"
    for name, seed in (("text", None), ("other", 4)):
        run = (
            test
            if seed is None
            else simulate(list(test.program), MARRAM_4, seed=seed, rig=RecordedOn(sample_rate=50.0))
        )
        write_test(archive / name, run, Identity("Marram 4", "M4-2406", "A", "2026-03-02"), Style(compress=False))
    as_parquet(archive / "text", archive / "parquet")
    found = {}
    for folder in sorted(archive.iterdir()):
        to_stops(folder, tmp_path / "results")
        found[folder.name] = pl.read_parquet(tmp_path / "results" / METHOD / "tests" / folder.name / "stops.parquet")
    (one,) = copies(found)
    assert {one.test, one.of} == {"text", "parquet"}
    assert one.whole and one.stops >= 9


def as_parquet(folder, into):
    """The test again with each recording as Parquet, torque in kN m and pressure in MPa."""
    card = yaml.safe_load((folder / "test.yaml").read_text())
    channels = card["recordings"]["channels"]
    names = {name: channel["column"] for name, channel in channels.items()}
    (into / "recordings").mkdir(parents=True)
    for path in sorted((folder / "recordings").iterdir()):
        frame = pl.read_csv(path)
        frame = frame.with_columns(pl.col(names["torque"]) / 1e3, pl.col(names["pressure"]) / 10)
        frame.rename({column: f"ch {name}" for name, column in names.items()}).write_parquet(
            into / "recordings" / f"{path.name.split('.')[0]}.parquet"
        )
    for name, channel in channels.items():
        channel["column"] = f"ch {name}"
    channels["torque"]["unit"], channels["pressure"]["unit"] = "kN m", "MPa"
    kept = {key: card["recordings"][key] for key in ("holds", "channels", "sensors") if key in card["recordings"]}
    card["recordings"] = kept | {"files": "recordings/*.parquet", "format": "parquet"}
    card.pop("wear", None)
    (into / "test.yaml").write_text(yaml.safe_dump(card | {"specimen": "B"}))
