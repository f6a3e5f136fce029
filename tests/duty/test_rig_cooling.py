"""The rig's cooling from the pauses between stops: truth recovered, heated pauses left out, reasons where it cannot be."""

from __future__ import annotations

import dataclasses

import numpy as np
import polars as pl
import pytest

from pipeline.duty import rig_cooling
from pipeline.duty.rig_cooling import Pauses
from pipeline.heat import lumped
from pipeline.heat.lumped import Disc
from tests.makers import stops_frame
from tests.rigs.makers import card_of

DISC = Disc(mass=1.7, material="carbon", radiating=0.0)
TRUE_G, TRUE_E, AMBIENT = 19.0, 0.08, 295.15


def cooled(n=60, noise=1.5, seed=3):
    """Pauses of a disc that cools with TRUE_G and TRUE_E, thermocouple noise in K."""
    rng = np.random.default_rng(seed)
    start = rng.uniform(420, 950, n)
    end = AMBIENT + (start - AMBIENT) * rng.uniform(0.35, 0.85, n)
    true = Disc(1.7, "carbon", TRUE_E)
    seconds = lumped.cooling_time(start, end, ambient=AMBIENT, conductance=TRUE_G, disc=true)
    return Pauses(start + rng.normal(0, noise, n), end + rng.normal(0, noise, n), np.asarray(seconds, float),
                  np.full(n, AMBIENT))  # fmt: skip


def test_convection_and_radiation_recovered():
    found = rig_cooling.fit(cooled(noise=0.0), DISC, stated=False)
    assert found.radiating_fitted
    assert found.g == pytest.approx(TRUE_G, rel=0.02)
    assert found.radiating == pytest.approx(TRUE_E, rel=0.05)


def test_interval_covers_with_noise():
    inside = 0
    for seed in range(40):
        found = rig_cooling.fit(cooled(seed=seed), DISC, stated=False)
        inside += found.low <= TRUE_G <= found.high
    assert inside >= 33


def test_pauses_with_a_heater_are_left_out():
    pauses = cooled(80)
    slow = pauses.seconds.copy()
    slow[::5] *= 2.5  # a fifth of the pauses cooled first and were heated again
    found = rig_cooling.fit(dataclasses.replace(pauses, seconds=slow), DISC, stated=False)
    assert found.left_out >= 14
    assert found.g + 3.3 * found.radiating * 30 == pytest.approx(TRUE_G + 3.3 * TRUE_E * 30, rel=0.08)


def test_radiation_stated_by_the_card_is_kept():
    found = rig_cooling.fit(cooled(), Disc(1.7, "carbon", TRUE_E), stated=True)
    assert not found.radiating_fitted
    assert found.radiating == TRUE_E
    assert found.g == pytest.approx(TRUE_G, rel=0.03)


def test_too_few_pauses_say_so():
    assert "too few" in rig_cooling.fit(cooled(4), DISC, stated=False)


def test_pauses_start_from_the_heat_of_the_stop():
    # 170 kJ into 1.7 kg at 500 J/(kg K): 200 K above the initial temperature, whatever the thermocouple showed
    disc = Disc(1.7, 500.0, 0.0)
    stops = stops_frame(
        4, temperature_final_c=999.0, temperature_initial_c=np.array([250.0, 300.0, 310.0, 520.0]), energy_kj=170.0,
        idle_before_s=pl.Series([None, 100.0, 100.0, 100.0], dtype=pl.Float64), duration_s=4.0,
    )  # fmt: skip
    pauses = rig_cooling.pauses_of(stops, disc, 1.0, 293.15)
    assert (pauses.start - 273.15).tolist() == pytest.approx([450.0, 500.0])  # the third pause ends hotter
    assert (pauses.end - 273.15).tolist() == pytest.approx([300.0, 310.0])
    # 1500 to 500 rpm: 7/12 of the heat is in on average; 4 s at (230 + 7/12 200) K excess are so many at 430 K.
    assert pauses.seconds.tolist() == pytest.approx([100 + 4 * 346.67 / 430, 100 + 4 * 396.67 / 480], abs=1e-3)
    half = rig_cooling.pauses_of(stops, disc, 0.5, 293.15)
    assert half.start[0] - 273.15 == pytest.approx(350.0)


def test_a_missing_stop_or_an_unknown_clock_is_no_pause():
    gap = stops_frame(3, run_number=np.array([1, 3, 5]), temperature_initial_c=250.0)
    unknown = stops_frame(3, idle_before_s=None, temperature_initial_c=250.0)
    assert (
        len(rig_cooling.pauses_of(gap, DISC, 1.0, AMBIENT))
        == len(rig_cooling.pauses_of(unknown, DISC, 1.0, AMBIENT))
        == 0
    )


def test_where_radiation_comes_from():
    card = card_of("t1")
    area, source = rig_cooling.radiating_of(card, 0.8)
    assert source == "assumed" and area == pytest.approx(0.8 * 2 * card.brake.swept_area)
    disc = card.brake.disc.model_copy(update={"emissivity": 0.7, "cooled_area": 0.1})
    stated = card.model_copy(update={"brake": card.brake.model_copy(update={"disc": disc})})
    assert rig_cooling.radiating_of(stated, 0.8) == (pytest.approx(0.07), "card")
