"""Depth, lag and the heat lost while braking, read from thermocouples of simulated discs (finite volumes of the study's own)."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import polars as pl
import pytest

from pipeline.archive.card import Card
from pipeline.face.of_compound import FaceTest
from pipeline.heat import slab, thermocouple
from pipeline.heat.of_card import conductivity_of, heat_share_of
from pipeline.heat.plate import plate_of
from pipeline.heat.thermocouple import Reading
from pipeline.results.summary import ChannelUse
from pipeline.stops.further_channels import with_course
from tests.studies import face_compounds, face_files
from tests.studies.face_law import finely, traces

DEPTH, LAG, NOISE_K = 0.005, 0.5, 0.8


@cache
def test_of(convection: float) -> FaceTest:
    """A test of one specimen: eight starts by three pressures and two speeds, stops of 5 to 15 s."""
    of = face_compounds.some_compound(np.random.default_rng(11))
    disc = replace(
        of.disc, conductivity=25.0, heat_share=0.93, thickness=0.028, depth=DEPTH, lag=LAG, convection=convection
    )
    low = replace(of.reference, pressure_bar=of.reference.pressure_bar / 3)
    of = face_compounds.varied(
        of, disc=disc, specimens=1, specimen_sd=0.0, specimen_shift=0.0, repeats=1, reference=low, starts=tuple(np.linspace(70, 560, 8)),
        pressures=tuple(p / 3 for p in of.pressures),
    )  # fmt: skip
    rng = np.random.default_rng(12)
    with finely():
        made = face_compounds.made(of, rng)
        every = traces(made, rng)
    seen = pl.col("disc_temperature_c") + rng.normal(0, NOISE_K, len(every))
    card = Card.model_validate(face_files.card(made, "Face 1", "F-1", "A"))
    return FaceTest("face-1", card, made.stops, every.with_columns(seen).drop("test"), of.brake.radius)


test_of.__test__ = False  # type: ignore[attr-defined]


def read(test: FaceTest) -> Reading | str:
    plate = plate_of(test.card)
    assert not isinstance(plate, str)
    known = (conductivity_of(test.card, 20.0), heat_share_of(test.card, 0.95))
    return thermocouple.of_test(test.card, plate, test.stops, test.traces, known)


@pytest.mark.parametrize("convection", [0.0, 200.0])
def test_depth_and_lag_are_the_simulator_s_and_a_loss_is_shown_where_there_is_one(convection: float) -> None:
    found = read(test_of(convection))
    assert isinstance(found, Reading)
    assert found.place_shown
    assert abs(found.depth - DEPTH) < 2 * found.depth_u < 0.0016
    assert abs(found.lag - LAG) < 2 * found.lag_u < 0.5
    assert found.rms < 0.05 * found.rise
    assert found.loss_shown == (convection > 0)
    if convection:
        assert found.convection == pytest.approx(convection, rel=0.4)
        assert 0.03 < found.lost < 0.4
        assert found.rms < 0.9 * found.rms_without_loss
        assert "s late" in thermocouple.words(found) and "loses" in thermocouple.words(found)


def test_readings_that_are_no_conduction_tell_nothing() -> None:
    test = test_of(0.0)
    rng = np.random.default_rng(1)
    jumps = pl.Series(rng.normal(0, 40, len(test.traces)))
    wild = read(replace(test, traces=test.traces.with_columns(pl.col("disc_temperature_c") + jumps)))
    assert isinstance(wild, str) and "no conduction into an even disc" in wild
    with np.errstate(all="ignore"):
        broken = read(replace(test, traces=test.traces.with_columns(pl.col("disc_temperature_c") * 1e12)))
    assert isinstance(broken, str)
    still = read(replace(test, traces=test.traces.with_columns(disc_temperature_c=pl.lit(20.0))))
    assert isinstance(still, str) and "stops warming the thermocouple" in still


def test_a_lag_is_exact_for_a_ramp() -> None:
    time = np.array([[0.0, 0.1, 0.4, 1.0, 3.0]])
    ramp = 300.0 + 20.0 * time
    expected = 300.0 + 20.0 * (time - 0.7 * (1 - np.exp(-time / 0.7)))
    assert thermocouple.lagged(ramp, time, 0.7) == pytest.approx(expected, abs=1e-9)


def test_a_thin_disc_that_only_cools_falls_exponentially() -> None:
    """Biot number 0.005, constant heat capacity: T - Ta falls as exp(-h t / (rho c L)) (a lumped body)."""
    time = np.linspace(0.0, 60.0, 400)[None]
    half, h, rho, cp = 0.002, 100.0, 1800.0, 1000.0
    cooling = slab.Cooling(h, 0.0, 295.0)
    _, mean = slab.conduct(
        time,
        np.zeros_like(time),
        800.0,
        half_thickness=half,
        conductivity=40.0,
        density=rho,
        material=cp,
        cooling=cooling,
    )
    expected = 295.0 + 505.0 * np.exp(-h * time / (rho * cp * half))
    assert mean == pytest.approx(expected, rel=0.01)


def test_a_test_s_page_is_told_by_stops_with_their_status() -> None:
    test = test_of(200.0)
    rows = [ChannelUse(channel=name, used_for="x") for name in ("torque", "disc_temperature")]
    first, second = with_course(rows, test.card, test.stops, test.traces)
    assert first.found is None
    assert second.found is not None and "mm below the face" in second.found and "loses" in second.found
    (unsound,) = with_course(rows[1:], test.card, test.stops.with_columns(status=pl.lit("rejected")), test.traces)
    assert unsound.found is not None and "0 stops warm" in unsound.found
