"""Support where the truth is known by how the stops were made: just inside, just outside, in each direction and together."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.tested.run import (
    ENERGY_DENSITY,
    POWER_DENSITY,
    PRESSURE,
    REACH_FACTOR,
    REACH_K,
    SCATTER_FACTOR,
    SCATTER_K,
    SPEED,
    TEMPERATURE,
    Run,
)
from pipeline.tested.told import extrapolations, in_words

DIRECTIONS = (TEMPERATURE, PRESSURE, SPEED, ENERGY_DENSITY, POWER_DENSITY)
MIDDLE = {TEMPERATURE: 300.0, PRESSURE: 25.0, SPEED: 1450.0, ENERGY_DENSITY: 20.0, POWER_DENSITY: 8.0}


def star() -> Run:
    """A program as they are run: temperatures at one set of conditions, each condition varied at 300 degC."""
    rows = [MIDDLE | {TEMPERATURE: t} for t in np.arange(60.0, 661.0, 40.0)]
    rows += [MIDDLE | {d: MIDDLE[d] * f} for d in DIRECTIONS[1:] for f in (0.5, 0.7, 1.4, 2.0)]
    return Run.of({d: [row[d] for row in rows] for d in DIRECTIONS})


def at(**moved: float) -> dict:
    names = {d.name.replace(" ", "_"): d for d in DIRECTIONS}
    return {d: [v] for d, v in (MIDDLE | {names[k]: v for k, v in moved.items()}).items()}


def is_covered(run: Run, **moved: float) -> bool:
    return bool(run.covered(run.points(at(**moved)))[0])


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [("pressure", 12.5, 50.0), ("speed", 725.0, 2900.0), ("energy_density", 10.0, 40.0), ("power_density", 4.0, 16.0)],
)
def test_a_condition_just_inside_and_just_outside_the_range(name: str, low: float, high: float) -> None:
    run = star()
    for inside in (low, high, low / (SCATTER_FACTOR - 0.002), high * (SCATTER_FACTOR - 0.002)):
        assert is_covered(run, **{name: inside}), inside
    for outside in (low / (SCATTER_FACTOR + 0.002), high * (SCATTER_FACTOR + 0.002)):
        assert not is_covered(run, **{name: outside}), outside


def test_a_temperature_just_inside_and_just_outside_the_range() -> None:
    run = star()
    for value, inside in (
        (60 - SCATTER_K + 0.1, True),
        (60 - SCATTER_K - 0.1, False),
        (660 + SCATTER_K - 0.1, True),
        (665.1, False),
    ):
        assert is_covered(run, temperature=value) is inside, value


def test_what_was_run_each_for_itself_was_not_run_together() -> None:
    gentle_cold = [(5.0, t) for t in (60.0, 90.0, 120.0)]
    hard_hot = [(20.0, t) for t in np.arange(60.0, 500.0, 40.0)]
    energy, temperature = np.array([*gentle_cold, *hard_hot]).T
    run = Run.of({ENERGY_DENSITY: energy, TEMPERATURE: temperature})
    points = run.points({ENERGY_DENSITY: [5.0, 5.0, 20.0], TEMPERATURE: [100.0, 400.0, 400.0]})
    assert run.covered(points).tolist() == [True, False, True]
    assert (run.beyond(points) == 0).all()
    (told,) = extrapolations("friction", run, points, np.array([1.0, 2.0, 1.0]))
    assert told.direction == "combination" and told.events == [2] and told.share == pytest.approx(0.5)
    assert told.value is not None and told.value > 1 == told.high
    assert "5.0 J/mm2" in told.words and "400 °C" in told.words and "50 % of the energy" in in_words(told)


def test_a_point_between_levels_is_reached_and_one_in_a_hole_is_not() -> None:
    for gap, inside in ((2 * REACH_K - 1, True), (2 * REACH_K + 1, False)):
        run = Run.of({TEMPERATURE: [100.0, 100.0 + gap]})
        assert run.covered(np.array([[100 + gap / 2]])).tolist() == [inside]
    for factor, inside in ((0.99 * REACH_FACTOR**2, True), (1.01 * REACH_FACTOR**2, False)):
        run = Run.of({PRESSURE: [10.0, 10.0 * factor]})
        assert run.covered(np.array([[10 * np.sqrt(factor)]])).tolist() == [inside]


def test_direction_value_range_and_share_are_told() -> None:
    run = star()
    points = run.points({d: [MIDDLE[d]] * 3 for d in DIRECTIONS} | {ENERGY_DENSITY: [20.0, 44.0, 6.0]})
    above, below = extrapolations("friction", run, points, np.array([1.0, 1.0, 2.0]))
    assert (above.direction, above.value, above.low, above.high) == ("energy density", 44.0, 10.0, 40.0)
    assert (above.events, above.share, below.value, below.events, below.share) == ([2], 0.25, 6.0, [3], 0.5)


def test_what_was_not_recorded_is_told_and_not_taken_for_tested() -> None:
    run = Run.of({TEMPERATURE: [100.0, 150.0], PRESSURE: [np.nan, np.nan]})
    (told,) = extrapolations("friction", run, run.points({TEMPERATURE: [120.0], PRESSURE: [30.0]}), np.ones(1))
    assert told.direction == "pressure" and told.value is None and told.share is None and "not recorded" in told.words


def test_where_nothing_was_run_nothing_is_covered() -> None:
    run = Run.of({TEMPERATURE: []})
    points = run.points({TEMPERATURE: [100.0]})
    assert not run.covered(points).any()
    assert extrapolations("friction", run, points, np.ones(1))[0].share == 1.0


@given(
    start=st.lists(st.floats(0.6, 1.8), min_size=5, max_size=5),
    along=st.integers(0, 4),
    up=st.booleans(),
    steps=st.lists(st.floats(1.001, 1.5), min_size=1, max_size=6),
)
def test_moved_away_from_what_was_run_nothing_comes_back(
    start: list[float], along: int, up: bool, steps: list[float]
) -> None:
    """From outside the range of a direction farther out in it: never covered, at no smaller distance, and no entry disappears."""
    run = star()
    row = np.array([MIDDLE[d] * f for d, f in zip(DIRECTIONS, start, strict=True)])
    factor = 3.0 if up else 1 / 3.0
    row[along] = MIDDLE[DIRECTIONS[along]] * factor if along else (700.0 if up else 40.0)
    before: set[tuple[str, bool]] = set()
    far = 0.0
    for step in [1.0, *steps]:
        row[along] *= step if up else 1 / step
        points = row[None]
        assert not run.covered(points)[0]
        told = {
            (e.direction, (e.value or 0) > (e.high or 0)) for e in extrapolations("friction", run, points, np.ones(1))
        }
        distance = max(float(run.nearest(points)[0][0]), float(np.abs(run.beyond(points)).max()))
        assert before <= told and distance >= far - 1e-9
        before, far = told, distance
