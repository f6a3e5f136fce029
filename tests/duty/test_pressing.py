"""Line pressure of a duty's brakings, and the disc once the vehicle has stopped."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from pipeline.duty.cycle import Air, Events, History, settle
from pipeline.duty.pressing import Pressing, line_pressures, soak
from pipeline.friction.map import FrictionMap, fit_map
from pipeline.heat.lumped import Disc
from pipeline.method.friction import Friction
from pipeline.report.sections.duty_log import pressing_texts
from pipeline.report.source import Cited
from pipeline.results.duty import CompoundDuty, DutyProjection, LinePressure, Projected
from pipeline.stops.reduction import Setup
from tests.compound.makers import program
from tests.duty.makers import DISC, duty_cycle

SETUP = Setup(piston_area=4.2e-3, radius=0.134, threshold=0.4e5, efficiency=0.97, friction_area=0.0104, inertia=22.0,
              inertia_mechanical=None, rolling_radius=0.33, average="distance", drag_correction=True, build_up=0.95,
              least_window=0.1)  # fmt: skip


@pytest.fixture(scope="module")
def map_() -> FrictionMap:
    stops = program(1.0, 3).with_columns(test=pl.lit("t"), batch=pl.lit("b"), specimen=pl.lit("s"))
    return fit_map(stops, Friction(), temperature="initial")


def asked(map_: FrictionMap, kelvin: float, bar: float) -> tuple[Events, History, float]:
    """One braking that this pressure brings about where the brake has the map's friction; and that friction."""
    mu = float(map_.predict(np.array([kelvin]), bar * 1e5).mu[0])
    torque = 2 * mu * SETUP.piston_area * SETUP.efficiency * (bar * 1e5 - SETUP.threshold) * SETUP.radius
    duty = duty_cycle()
    deceleration = torque / (duty.brake_share * duty.vehicle_mass * duty.rolling_radius)
    start = map_.reference.speed * duty.rolling_radius
    end = 0.4 * start
    one = np.array([1.0])
    energy = one * map_.reference.energy_density * SETUP.friction_area
    events = Events(energy, one * (start - end) / deceleration, one * 20, one * start, one * end, one * 30)
    path = np.full((1, 6, 1), kelvin)
    return events, History(path, path), mu


@pytest.mark.parametrize(("celsius", "bar"), [(300.0, 40.0), (450.0, 25.0), (200.0, 55.0)])
def test_pressure_is_the_one_that_gives_the_deceleration(map_: FrictionMap, celsius: float, bar: float) -> None:
    events, history, mu = asked(map_, celsius + 273.15, bar)
    (found,) = line_pressures(duty_cycle(), events, history, "initial", 0, Pressing(map_, SETUP))
    assert found.value == pytest.approx(bar, rel=1e-4) and found.mu == pytest.approx(mu, rel=1e-4) and found.why is None
    assert found.low is not None and found.high is not None and found.low < bar < found.high


@pytest.mark.parametrize(("celsius", "harder"), [(750.0, 1.0), (300.0, 4.0)])
def test_no_pressure_outside_what_was_tested(map_: FrictionMap, celsius: float, harder: float) -> None:
    events, _, _ = asked(map_, 573.15, 40.0)
    events = replace(events, brake_time=events.brake_time / harder)
    path = np.full((1, 6, 1), celsius + 273.15)
    (found,) = line_pressures(duty_cycle(), events, History(path, path), "initial", 0, Pressing(map_, SETUP))
    assert (
        found.value is None
        and found.low is None
        and found.mu is None
        and f"{celsius:.0f} °C, " in (found.why or "")
        and "outside what was tested" in (found.why or "")
    )


def test_soak_falls_from_the_last_braking_by_still_air_alone() -> None:
    from pipeline.duty.cycle import events_of

    disc, air = Disc(DISC.mass, 900.0, 0.0), Air(6.0, 1.9, 295.15)
    events = events_of(duty_cycle())
    settled = settle(events, disc, air, np.array([0.5]))
    found = soak(settled, 0, disc, air, 200.0)
    start = found.highest_c
    assert start == pytest.approx(float(settled.braking[-1, -1, 0]) - 273.15)
    for seconds, celsius in zip(found.after_s, found.temperature_c, strict=True):
        assert celsius == pytest.approx(22 + (start - 22) * np.exp(-6.0 * seconds / (disc.mass * 900)), abs=0.1)
    upper = start - 30
    above = soak(settled, 0, disc, air, upper).seconds_above
    assert above == pytest.approx(disc.mass * 900 / 6.0 * np.log((start - 22) / (upper - 22)), rel=0.01)


@pytest.mark.parametrize(
    ("pressures", "said"),
    [((30.0, None), "its brakings whose friction is known need"), ((30.0, 31.0), "its brakings need")],
)
def test_the_highest_line_pressure_is_that_of_brakings_whose_friction_is_known(pressures, said) -> None:
    """A braking of unknown friction may ask for more: the highest of the others is not called the duty's."""
    each = [
        LinePressure(
            value=p, why=None if p else "none", deceleration_mps2=5.0, torque_nm=500.0, temperature_c=300.0, mu=0.4
        )
        for p in pressures
    ]
    life = Projected(why="none")
    found = DutyProjection(duty="hill", opening=0.5, life_cycles=life, life_km=life, line_pressure_bar=each)
    (one,) = Cited("duty.json", CompoundDuty(compound="x", duties=[found])).each(lambda d: d.duties)
    assert said in pressing_texts(one)[0].template
