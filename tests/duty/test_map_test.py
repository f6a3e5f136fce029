"""The map stops that a duty's friction lacks: run as they are named, they cover it."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
import yaml

from pipeline.archive.block import Block
from pipeline.archive.card import Card
from pipeline.constants import ZERO_C
from pipeline.duty.cycle import History, events_of
from pipeline.duty.map_test import map_test
from pipeline.duty.pressing import Pressing
from pipeline.duty.rubbing import Rubbing
from pipeline.duty.support import FrictionRun, braked
from pipeline.friction.map import FrictionMap, fit_map
from pipeline.inputs.model import parse
from pipeline.method.friction import Friction
from pipeline.results.duty import Span
from pipeline.tested.run import ENERGY_DENSITY, POWER_DENSITY, PRESSURE, SPEED, TEMPERATURE, Run
from tests.compound.makers import program
from tests.duty.makers import duty_cycle
from tests.duty.test_pressing import SETUP
from tests.wear.makers import card_content

GRID = np.array([0.0, 0.5, 1.0])
AREA = SETUP.friction_area


@pytest.fixture(scope="module")
def map_() -> FrictionMap:
    stops = program(1.0, 3).with_columns(test=pl.lit("t"), batch=pl.lit("b"), specimen=pl.lit("s"))
    return fit_map(stops, Friction(), temperature="initial")


def asked(map_: FrictionMap, celsius: tuple[float, ...], **facts):
    """A duty's brakings that begin at these temperatures at the openings of the grid and its own."""
    duty = duty_cycle(**facts)
    events = events_of(duty)
    path = np.repeat(np.array(celsius)[None, None, :] + ZERO_C, len(duty.events), axis=0) * np.ones((1, 6, 1))
    known = FrictionRun.of(Pressing(map_, SETUP), Rubbing(AREA, np.zeros(0), np.zeros(0)))
    return duty, events, braked(duty, events, History(path, path), "initial", range(len(celsius)), known, AREA)


def as_run(map_: FrictionMap, blocks: list[Block], inertia: float) -> np.ndarray:
    """Conditions of the named stops by the rig's own physics: work of the inertia, torque of the pressure, time by both."""
    rows = []
    for block in blocks:
        first, last = block.speed_start, block.speed_end
        joule = inertia * (first**2 - last**2) / 2
        mu = float(map_.level(np.array([block.initial_temperature]), np.zeros((1, 3)))[0])
        torque = 2 * mu * SETUP.piston_area * SETUP.efficiency * (block.pressure - SETUP.threshold) * SETUP.radius
        seconds = inertia * (first - last) / torque
        rows.append(
            (
                block.initial_temperature - ZERO_C,
                block.pressure / 1e5,
                first * 30 / np.pi,
                joule / AREA / 1e6,
                joule / seconds / AREA / 1e6,
            )
        )
    return np.array(rows)


@pytest.mark.parametrize(
    "facts", [{"brake_share": 0.03}, {"brake_share": 0.5}, {"vehicle_mass": "300 kg", "brake_share": 0.29}]
)
def test_the_named_stops_cover_the_duty(map_: FrictionMap, facts: dict) -> None:
    duty, events, brakings = asked(map_, (420.0, 300.0, 180.0, 300.0), **facts)
    assert not brakings.covered.all()
    found, why = map_test(duty, events, brakings, GRID, Span(low=0.0, high=1.0))
    assert found is not None and why is None
    content = card_content() | yaml.safe_load(found.blocks) | {"inertia": f"{found.inertia_kg_m2} kg m^2"}
    blocks = list(parse(content, Card, "test.yaml").blocks)
    assert found.stops == sum(b.stops for b in blocks) and {b.purpose for b in blocks} == {"map"}
    share = duty.brake_share * duty.vehicle_mass * duty.rolling_radius**2
    assert found.inertia_kg_m2 == pytest.approx(share)
    run = brakings.friction.run
    assert run.directions == (TEMPERATURE, PRESSURE, SPEED, ENERGY_DENSITY, POWER_DENSITY)
    own = as_run(map_, blocks, found.inertia_kg_m2)
    # friction where nothing was run is not known, and with it the time: power is held to what mu turns out to be
    together = Run(run.directions[:4], np.vstack([run.values, own])[:, :4])
    assert together.covered(brakings.points[:, :4]).all()
    assert not run.covered(brakings.points).all(), "without them it is not"
    assert own[:, 3].min() == pytest.approx(brakings.points[:, 3].min(), rel=1e-3)


def test_a_duty_that_was_tested_names_none(map_: FrictionMap) -> None:
    duty, events, brakings = asked(map_, (300.0, 300.0, 300.0, 300.0))
    every = FrictionRun(
        Run(brakings.friction.run.directions, np.vstack([brakings.friction.run.values, brakings.points])),
        brakings.friction.pressing,
    )
    same = braked(
        duty,
        events,
        History(*(np.full((len(duty.events), 6, 4), 300.0 + ZERO_C),) * 2),
        "initial",
        range(4),
        every,
        AREA,
    )
    assert map_test(duty, events, same, GRID, None) == (None, None)


def test_without_a_map_no_pressure_is_known() -> None:
    duty = duty_cycle()
    events = events_of(duty)
    path = np.full((len(duty.events), 6, 1), 300.0 + ZERO_C)
    known = FrictionRun.of(None, Rubbing(AREA, np.array([400.0, 500.0]), np.array([0.4, 0.4])))
    found, why = map_test(
        duty, events, braked(duty, events, History(path, path), "initial", [0], known, AREA), GRID, None
    )
    assert found is None and why is not None and "no friction map" in why
