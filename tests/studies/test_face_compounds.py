"""The generator that judges the map and the law at the face, held against textbook conduction and against itself."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.method import Method, settings_of
from pipeline.recordings import stage as channels
from pipeline.stops import stage as stops
from tests.studies import face_compounds, face_files
from tests.studies.face_compounds import CELLS, Disc, conducted, heat_capacity


@pytest.mark.published(
    "the study of the face's own disc: a face under a constant flux",
    source="Carslaw and Jaeger 1959, 2.9",
    origin="closed form",
)
def test_face_of_a_thick_slab_warms_as_a_half_space_does() -> None:
    """Constant flux into a half space: 2 q sqrt(t / pi) / e above the start (Carslaw and Jaeger 1959, 2.9)."""
    disc = Disc(30.0, 1.0, 0.045)
    dt, flux = 0.02, 4e4  # small enough a rise for the heat capacity to stay what it is
    celsius = np.full((1, CELLS), 300.0)
    between = disc.conductivity / ((disc.cells[1:] + disc.cells[:-1]) / 2)
    for _ in range(50):
        celsius = conducted(celsius, np.array([flux]), np.array([dt]), disc.cells, between, disc.density)
    face = celsius[0, 0] + flux * disc.cells[0] / 2 / disc.conductivity
    effusivity = np.sqrt(disc.conductivity * disc.density * heat_capacity(np.array(303.0)))
    assert abs((face - 300.0) / (2 * flux * np.sqrt(1.0 / np.pi) / effusivity) - 1) < 0.02


def test_heat_that_goes_in_is_stored() -> None:
    disc = Disc(12.0, 1.0, 0.03)
    between = disc.conductivity / ((disc.cells[1:] + disc.cells[:-1]) / 2)
    celsius, flux = np.array([np.full(CELLS, 60.0), np.full(CELLS, 450.0)]), np.array([1.2e6, 0.5e6])
    over = np.linspace(0.0, 1500.0, 15001)
    enthalpy = np.r_[0.0, np.cumsum(heat_capacity(over[1:] - 0.05)) * 0.1]
    before = np.interp(celsius, over, enthalpy) @ disc.cells
    for _ in range(60):
        celsius = conducted(celsius, flux, np.full(2, 0.03), disc.cells, between, disc.density)
    stored = disc.density * (np.interp(celsius, over, enthalpy) @ disc.cells - before)
    assert np.abs(stored / (flux * 60 * 0.03) - 1).max() < 0.02  # heat capacity taken at the step's start


def test_in_stop_shape_is_that_of_the_world() -> None:
    """Where mu knows the initial temperature alone, every stop has the same shape; at the face it climbs as the face warms."""
    spread = {}
    for separable in (True, False):
        rows = (made := face_compounds.draw([3, 2], separable=separable)).run.mu[made.run.window]
        spread[separable] = np.ptp(rows[-1] / rows[0])
    assert spread[True] < 0.01  # a few per cent of speed lost in the build-up, to a power of at most 0.08
    assert spread[False] > 0.05


def test_truth_is_what_stops_scatter_about() -> None:
    made = face_compounds.draw([3, 4])
    c = made.compound
    assert c.specimens == 1
    at = made.stops.filter(pl.col("purpose") == "check")
    truth = made.truth(np.linspace(200, 320, 7), c.reference.pressure_bar, c.reference.speed_rpm)
    start = at["temperature_initial_c"].to_numpy()
    off = (at["mu"].to_numpy() - np.interp(start, truth.start, truth.mu)) / np.interp(start, truth.start, truth.sd)
    assert 0.5 < off.std() < 1.6 and abs(off.mean()) < 1.0


def test_ends_are_where_the_middle_of_the_stops_leaves() -> None:
    start = np.linspace(100.0, 500.0, 401)
    truth = face_compounds.Truth(start, 0.2 + 0.0005 * (start - 100.0), np.full(401, 0.01))
    assert truth.ends((0.25, 0.35), 100.0, 500.0) == pytest.approx((200 + 32.9, 400 - 32.9), abs=0.5)
    assert truth.ends((0.10, 0.35), 100.0, 500.0)[0] is None
    assert truth.slope_per_100c(300.0) == pytest.approx(0.05)


def test_raw_files_reduce_to_the_same_stops(tmp_path: Path) -> None:
    of = face_compounds.some_compound(np.random.default_rng(8))
    of = face_compounds.varied(
        of, starts=(80.0, 400.0), repeats=1, specimens=1, pressures=of.pressures[:2], speeds=of.speeds[:1]
    )
    made = face_compounds.made(of, np.random.default_rng(9))
    (folder,) = face_files.write(made, tmp_path / "archive", 1)
    kept = {"channels": tmp_path / "c.parquet", "record": tmp_path / "c.json"}
    channels.run(folder, kept["channels"], kept["record"])
    into = tmp_path / "results" / "default" / "tests" / folder.name
    stops.run(folder=folder, **kept, settings=settings_of(Method(), "stops"), into=into)
    found = pl.read_parquet(into / "stops.parquet")
    assert len(found) == len(made.stops)
    assert set(found["status"]) == {"ok"}, found.select("stop", "status", "findings").to_dicts()
    assert np.abs(found["mu"].to_numpy() / made.stops["mu"].to_numpy() - 1).max() < 0.01
    assert (
        np.abs(found["temperature_initial_c"].to_numpy() - made.stops["temperature_initial_c"].to_numpy()).max() < 0.5
    )
