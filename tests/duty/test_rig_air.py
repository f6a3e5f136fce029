"""The rig's cooling where the disc loses heat while it brakes, in air of another temperature than is usual.

The disc is marched in small steps of time with its own balance of heat: no code of the fit's.
"""

import numpy as np
import polars as pl
import pytest

from pipeline.duty import rig_cooling
from pipeline.heat.air import recorded_ambient
from pipeline.heat.lumped import Disc, braking_as_cooling
from pipeline.wear.cooling import fitted_curve
from tests.makers import stops_frame

MASS, CP, G, ZERO = 1.7, 900.0, 19.0, 273.15
DISC = Disc(MASS, CP, 0.0)


def marched(temperature: float, seconds: float, power, air: float) -> float:
    """Temperature (K) after `seconds` with `power(share of the time)` in W going in and G going out."""
    steps = 2000
    for k in range(steps):
        temperature += seconds / steps * (power((k + 0.5) / steps) - G * (temperature - air)) / (MASS * CP)
    return temperature


def run_of(air_c: float, *, duration: float = 6.0, recorded: bool = True, n: int = 30) -> pl.DataFrame:
    """Stops from 1500 to 500 rpm at a constant deceleration, 30 to 90 s apart, each starting where the disc has cooled to."""
    rng = np.random.default_rng(5)
    temperature, rows, air = 500.0, [], air_c + ZERO
    for _ in range(n):
        energy, idle = rng.uniform(120e3, 320e3), rng.uniform(30, 90)
        mean = energy / duration
        rows.append((temperature - ZERO, energy / 1e3, idle))
        hot = marched(temperature, duration, lambda share, mean=mean: mean * (1.5 - share), air)
        temperature = marched(hot, idle, lambda share: 0.0, air)
    initial, energy, idle = np.array(rows).T
    return stops_frame(
        n, temperature_initial_c=initial, energy_kj=energy, duration_s=duration,
        idle_before_s=np.r_[np.nan, idle[:-1]], ambient_c=air_c if recorded else None,
    ).with_columns(pl.col("idle_before_s").fill_nan(None))  # fmt: skip


@pytest.mark.parametrize("air_c", [14.0, 22.0, 45.0])
@pytest.mark.parametrize("duration", [2.0, 6.0, 15.0])
def test_the_convection_of_duty_and_wear_is_the_true_one(air_c, duration):
    stops = run_of(air_c, duration=duration)
    pauses = rig_cooling.pauses_of(stops, DISC, 1.0, 295.15)
    found = rig_cooling.fit(pauses, DISC, stated=True, recorded=True)
    assert found.ambient == pytest.approx(air_c + ZERO) and found.ambient_recorded
    assert found.g == pytest.approx(G, rel=0.006)
    assert found.low <= G * 1.006 and found.high >= G * 0.994
    initial = stops["temperature_initial_c"].to_numpy() + ZERO
    curve = fitted_curve(
        initial, stops["energy_kj"].to_numpy() * 1e3 / MASS, np.append(initial[1:], np.nan),
        np.append(stops["idle_before_s"].to_numpy()[1:].astype(float), np.nan), np.full(len(stops), duration),
        (stops["speed_start_rpm"].to_numpy(), stops["speed_end_rpm"].to_numpy()),
        ambient=air_c + ZERO, material=CP, radiation=0.0,
    )  # fmt: skip
    assert curve is not None and curve.g * MASS == pytest.approx(G, rel=0.006)


def test_half_the_braking_is_not_enough():
    """What the disc had above ambient before the braking cools through all of it."""
    usual = braking_as_cooling(500.0, 600.0, 6.0, 300.0, 3.0, 1.0)
    assert usual == pytest.approx(6 * (200 + 7 / 12 * 100) / 300)
    assert braking_as_cooling(300.0, 600.0, 6.0, 300.0, 1.0, 1.0) == pytest.approx(3.0)
    assert braking_as_cooling(300.0, 600.0, 6.0, 300.0, 1.0, 0.0) == pytest.approx(4.0)
    assert braking_as_cooling(300.0, 600.0, 6.0, 300.0, np.nan, np.nan) == pytest.approx(3.0)


def test_air_that_was_not_recorded_is_taken_as_usual_and_said():
    stops = run_of(14.0, recorded=False)
    assert recorded_ambient(stops) is None
    assumed = rig_cooling.ambient_of([stops])
    found = rig_cooling.fit(rig_cooling.pauses_of(stops, DISC, 1.0, assumed), DISC, stated=True)
    assert not found.ambient_recorded and found.ambient == pytest.approx(295.15)
    assert found.g > 1.02 * G  # what the record would have mended
    assert found.low < G < found.high


@pytest.mark.parametrize("air_c", [288.0, 95.0, -80.0])
def test_what_cannot_be_air_is_not_believed(air_c):
    assert recorded_ambient(run_of(20.0, n=4).with_columns(ambient_c=pl.lit(air_c))) is None


def test_air_warmer_than_the_coldest_disc_is_not_believed():
    cold = run_of(20.0, n=4).with_columns(ambient_c=pl.lit(50.0), temperature_initial_c=pl.lit(30.0))
    assert recorded_ambient(cold) is None
