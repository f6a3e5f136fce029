"""Kinds of braking the samples do not hold, and disturbed sensors, through ingest and reduction against their truth."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.method import Method, settings_of
from pipeline.recordings.stage import run as run_channels
from pipeline.results import read_json
from pipeline.stops.stage import run as run_stops
from rig_samples.simulator import (
    MARRAM_4,
    Block,
    Change,
    Identity,
    Rig,
    Sensors,
    Simulated,
    Style,
    simulate,
    write_test,
)

MIXED = [
    Block("warm", "map", 4, speed=(1450.0, 850.0)),
    Block("cold", "map", 4, initial=80.0),
    Block("rest", "map", 4, speed=(1000.0, 0.0), kind="stop"),
    Block("torque", "map", 4, speed=(1450.0, 600.0), control="torque", torque=650.0),
    Block("cold torque", "map", 4, speed=(1450.0, 600.0), control="torque", torque=380.0, initial=90.0),
    Block("deceleration", "map", 4, speed=(1450.0, 600.0), control="deceleration", deceleration=6.0),
    Block("hold", "drag", 3, speed=(700.0, 700.0), pressure=12.0, kind="drag", duration=6.0),
    Block("gentle", "map", 3, speed=(700.0, 400.0), pressure=7.0, initial=280.0),
]


def reduced(base: Path, test: Simulated, name: str) -> tuple[pl.DataFrame, dict]:
    """Stops beside their truth, and the summary, of a test written and run in `base`."""
    folder, into = base / name, base / "results" / "m" / "tests" / name
    into.mkdir(parents=True)
    write_test(folder, test, Identity("Marram 4", "M4-T", "A", "2026-01-01"), Style(compress=False))
    channels, record = base / f"{name}.parquet", base / f"{name}.json"
    run_channels(folder, channels, record)
    settings = settings_of(Method(), "stops")
    run_stops(folder=folder, channels=channels, record=record, settings=settings, into=into)
    stops = pl.read_parquet(into / "stops.parquet")
    return stops.join(test.truth, on="stop", how="full", suffix="_true").sort("stop"), read_json(into / "summary.json")


@pytest.fixture(scope="module")
def mixed(tmp_path_factory: pytest.TempPathFactory) -> tuple[pl.DataFrame, dict]:
    return reduced(tmp_path_factory.mktemp("mixed"), simulate(MIXED, MARRAM_4, seed=21), "mixed")


@pytest.fixture(scope="module")
def driven(tmp_path_factory: pytest.TempPathFactory) -> tuple[pl.DataFrame, dict]:
    test = simulate(MIXED, MARRAM_4, seed=22, rig=Rig(inertia_mechanical=18.0))
    return reduced(tmp_path_factory.mktemp("driven"), test, "driven")


@pytest.mark.parametrize("block", [block.name for block in MIXED])
def test_friction_of_every_kind_of_braking_is_the_true_one(mixed: tuple[pl.DataFrame, dict], block: str) -> None:
    table = mixed[0].filter(pl.col("block_true") == block)
    assert table["block"].to_list() == table["block_true"].to_list()
    error = (table["mu"] - table["mu_distance_true"]).to_numpy()
    assert error == pytest.approx(0.0, abs=0.004)
    assert table["energy_kj"].to_numpy() == pytest.approx(table["energy_kj_true"].to_numpy(), rel=0.01)


def test_drag_has_no_kinetic_energy_and_no_ratio(mixed: tuple[pl.DataFrame, dict]) -> None:
    drags = mixed[0].filter(pl.col("kind") == "drag")
    assert drags.height == 3
    assert drags["energy_ratio"].null_count() == drags["kinetic_energy_kj"].null_count() == 3


def test_rise_within_cold_stops_is_seen(mixed: tuple[pl.DataFrame, dict]) -> None:
    cold = mixed[0].filter(pl.col("block") == "cold")
    assert cold["mu_rise"].to_numpy() == pytest.approx(cold["mu_end_over_start"].to_numpy(), rel=0.05)
    assert cold["mu_bite"].to_numpy() == pytest.approx(cold["mu_bite_true"].to_numpy(), abs=0.006)
    assert (cold["mu_rise"] > 1.8).all()


def test_energy_balance_closes_with_a_simulated_inertia(driven: tuple[pl.DataFrame, dict]) -> None:
    table, summary = driven
    ratio = table["energy_ratio"].drop_nulls().to_numpy()
    assert np.median(ratio) == pytest.approx(1.0, abs=0.004)
    assert ratio == pytest.approx(1.0, abs=0.02)
    assert summary["energy_balance"]["candidates"] == []
    assert (table["mu"] - table["mu_distance_true"]).to_numpy() == pytest.approx(0.0, abs=0.004)


def test_lag_offset_drag_and_ripple_together_are_taken_off(tmp_path: Path) -> None:
    """60 ms of lag, 2 % of full scale of torque offset, heavy bearings and a warped disc."""
    sensors = Sensors(torque_lag_s=0.06, torque_offset_nm=80.0, pressure_offset_bar=0.5)
    rig = Rig(drag_nm=14.0, drag_nm_s=0.08, ripple=(0.03, 0.02))
    table, summary = reduced(tmp_path, simulate(MIXED[:4], MARRAM_4, seed=23, rig=rig, sensors=sensors), "bent")
    error = (table["mu"] - table["mu_distance_true"]).to_numpy()
    assert error == pytest.approx(0.0, abs=0.004)
    assert summary["lag_s"]["value"] == pytest.approx(0.06, abs=0.006)
    assert summary["offsets"]["torque_nm"] == pytest.approx(80.0, abs=3.0)
    assert table["energy_ratio"].drop_nulls().to_numpy() == pytest.approx(1.0, abs=0.02)


def test_torque_gain_that_drifts_shows_in_the_energy_ratio_and_a_pressure_gain_does_not(tmp_path: Path) -> None:
    program = [MIXED[2], Block("warm", "check", 40)]  # standstill parts the offset from the bearings' drag
    torque = Sensors(torque_gain_change=Change(from_stop=24, per_stop=-0.004))
    pressure = Sensors(pressure_gain_change=Change(from_stop=24, per_stop=0.004))
    moved, _ = reduced(tmp_path, simulate(program, MARRAM_4, seed=24, sensors=torque), "torque")
    blind, _ = reduced(tmp_path, simulate(program, MARRAM_4, seed=24, sensors=pressure), "pressure")
    assert moved["energy_ratio"][:23].mean() == pytest.approx(1.0, abs=0.003)
    assert moved["energy_ratio"][39:].mean() == pytest.approx(1.0 - 0.004 * 17.5, abs=0.004)
    assert blind["energy_ratio"].to_numpy() == pytest.approx(1.0, abs=0.01)
    for table in (moved, blind):
        late = table[39:]
        assert ((late["mu"] - late["mu_distance_true"]) / late["mu_distance_true"]).mean() < -0.05
