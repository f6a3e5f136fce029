"""How much of a duty's conclusions was tested: known by how stops, laws and duty were made."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.constants import ZERO_C
from pipeline.duty.cycle import Air, History, events_of, settle
from pipeline.duty.limits import Openings
from pipeline.duty.project import project
from pipeline.duty.reserved import reserved
from pipeline.duty.support import FrictionRun, braked, over_openings, worn_by
from pipeline.results.duty import DutySupport, Span
from pipeline.tested.run import ENERGY_DENSITY, POWER_DENSITY, SPEED, TEMPERATURE, Run
from pipeline.wear.exposure import GRID_K, exposure
from tests.duty.makers import brake, duty_cycle, energy_law, oxidation_law

AIR = Air(6.0, 1.9, 295.15)
AREA = 0.0104


def truth(duty):
    """Conditions of each braking by the duty's own numbers, no code of the projection: J/mm2, W/mm2, rpm."""
    rows = []
    for e in duty.events:
        energy = 0.5 * duty.vehicle_mass * duty.brake_share * (e.start**2 - e.end**2) / AREA / 1e6
        rows.append((energy, energy / e.brake_time, e.start / duty.rolling_radius * 30 / np.pi))
    return np.array(rows)


def run_around(duty, **cut) -> FrictionRun:
    """Stops at the duty's own conditions over all temperatures, but for those that `cut` leaves out by the index of the braking."""
    rows = truth(duty)
    kept = [row for e, row in enumerate(rows) if e not in cut.get("without", ())]
    temperatures = np.arange(20.0, 900.0, 40.0)
    at = np.array([(t, *row) for t in temperatures for row in kept])
    return FrictionRun(
        Run.of({TEMPERATURE: at[:, 0], ENERGY_DENSITY: at[:, 1], POWER_DENSITY: at[:, 2], SPEED: at[:, 3]})
    )


def projected(duty, friction, opening=0.5, made=None):
    made = made or brake(window=(20.0, 900.0))
    events = events_of(duty)
    settled = settle(events, made.disc, AIR, np.array([opening]))
    brakings = braked(duty, events, settled, "initial", [0], friction, AREA)
    return project(duty, events, settled, [settled], made, 0, brakings)


def test_a_duty_like_the_tests_is_tested():
    duty = duty_cycle()
    support = projected(duty, run_around(duty)).support
    assert support.friction_share == support.window_share_tested == pytest.approx(1.0)
    assert support.window_basis == "tested" and support.window_share_extrapolated == pytest.approx(0.0)
    assert [e for e in support.extrapolations if e.of == "friction"] == []


def test_the_share_in_the_window_is_told_apart_by_what_was_tested():
    duty = duty_cycle()
    hardest = int(truth(duty)[:, 0].argmax())
    share = float(events_of(duty).energy[hardest] / events_of(duty).energy.sum())
    found = projected(duty, run_around(duty, without=[hardest]))
    support = found.support
    assert found.window_share == pytest.approx(1.0)
    assert support.window_share_extrapolated == pytest.approx(share)
    assert support.window_share_tested == pytest.approx(1 - share)
    entry = next(e for e in support.extrapolations if e.direction == "energy density")
    assert entry.events == [hardest + 1] and entry.share == pytest.approx(share)
    assert entry.value == pytest.approx(truth(duty)[hardest, 0]) and entry.high == pytest.approx(
        np.sort(truth(duty)[:, 0])[-2]
    )
    assert any("energy density" in text for text in found.extrapolated)


@pytest.mark.parametrize("name", ["energy", "power", "speed"])
@pytest.mark.parametrize("factor", [1.02, 1.2])
def test_just_inside_and_just_outside_in_each_direction(name: str, factor: float):
    """The tests ran up to the duty's hardest over `factor`; a set-point's scatter is 3 %."""
    duty = duty_cycle()
    rows = truth(duty)
    column = {"energy": 1, "power": 2, "speed": 3}[name]
    at = np.array([(t, *row) for t in np.arange(20.0, 900.0, 40.0) for row in rows])
    at[:, column] = np.minimum(at[:, column], rows[:, column - 1].max() / factor)
    run = Run.of(dict(zip((TEMPERATURE, ENERGY_DENSITY, POWER_DENSITY, SPEED), at.T, strict=True)))
    support = projected(duty, FrictionRun(run)).support
    assert (support.friction_share == pytest.approx(1.0)) == (factor < 1.03)


@settings(max_examples=25, deadline=None)
@given(mass=st.floats(1.05, 3.0), steps=st.lists(st.floats(1.01, 1.4), min_size=1, max_size=4))
def test_a_duty_moved_away_from_what_was_run_loses_no_extrapolation(mass: float, steps: list[float]):
    """Heavier and heavier beyond what was run: no entry goes, none covers less, and no share of what was tested comes back."""
    base = duty_cycle()
    friction = run_around(base)
    path = np.full((len(base.events), 6, 1), 400.0 + ZERO_C)
    before, share = {}, 1.0
    for factor in np.cumprod([mass, *steps]):
        duty = duty_cycle(vehicle_mass=f"{1180 * factor} kg")
        events = events_of(duty)
        entries = braked(duty, events, History(path, path), "initial", [0], friction, AREA)
        told = {e.direction: e.share for e in entries.entries(0) if e.direction in ("energy density", "power density")}
        assert set(before) <= set(told) and all(told[d] >= before[d] - 1e-9 for d in before)
        assert entries.share(0) <= share + 1e-9
        before, share = told, entries.share(0)


# --- wear


def node(celsius: float) -> int:
    return int(np.abs(GRID_K - ZERO_C - celsius).argmin())


def stops(energy_mj, seconds_at=()):
    """Brakings with seconds at surface temperatures (degC, s) after each."""
    dwell = np.zeros((len(energy_mj), GRID_K.size))
    for celsius, seconds in seconds_at:
        dwell[:, node(celsius)] = seconds
    return exposure(
        energy_mj, power_w_mm2=[5.0] * len(energy_mj), temperature_c=[300.0] * len(energy_mj), dwell_s=dwell
    )


def run_of_law(low: float, high: float) -> list[list[float]]:
    return [[e, 5.0, t] for e in np.geomspace(low, high, 7) for t in np.arange(60.0, 661.0, 50.0)]


def test_wear_counts_the_loss_that_the_readings_cover():
    law = energy_law(run=run_of_law(0.1, 0.4))
    found = worn_by("disc", law, stops([0.1, 0.2, 0.6]), AREA)
    assert found.share == pytest.approx(0.3 / 0.9)
    (entry,) = found.entries
    assert entry.direction == "energy density" and entry.events == [3] and entry.share == pytest.approx(2 / 3)
    assert worn_by("disc", law, stops([0.1, 0.2, 0.4]), AREA).share == pytest.approx(1.0)


def with_range(law, **span):
    return law.model_copy(update={"span": law.span.model_copy(update=span)})


def test_oxidation_is_known_where_it_was_seen_only():
    law = with_range(
        oxidation_law(a=6.0, b=0.02), run=run_of_law(0.1, 0.4), oxidation_c=[520.0, 800.0], surface_c=[20.0, 800.0]
    )
    seen = worn_by("disc", law, stops([0.2], [(600.0, 30.0)]), AREA)
    assert seen.share == pytest.approx(1.0) and seen.entries == []
    below = worn_by("disc", law, stops([0.2], [(500.0, 3000.0)]), AREA)
    lost = 0.02 * 3000 * np.exp(-150e3 / 8.314462618 * (1 / GRID_K[node(500.0)] - 1 / 873.15))
    assert below.share == pytest.approx(1.2 / (1.2 + lost), rel=0.02)
    (entry,) = below.entries
    assert entry.direction == "oxidising temperature" and entry.share == pytest.approx(lost / (1.2 + lost), rel=0.02)
    cold = worn_by("disc", law, stops([0.2], [(100.0, 3000.0)]), AREA)
    assert cold.share == pytest.approx(1.0) and cold.entries == []
    hot = worn_by("disc", law, stops([0.2], [(900.0, 10.0)]), AREA)
    assert {e.direction for e in hot.entries} == {"oxidising temperature", "face temperature"} and hot.share < 0.1


def test_what_an_opening_to_run_rests_on():
    grid = np.array([0.0, 0.2, 0.4, 0.6])
    tested, share = np.array([0.0, 0.3, 0.9, 1.0]), np.array([0.5, 1.0, 1.0, 1.0])
    assert over_openings(grid, tested, share, 0.2, 0.6) == (Span(low=0.3, high=1.0), "tested")
    assert over_openings(grid, tested, share, 0.1, 0.3) == (Span(low=0.3, high=0.3), "mostly extrapolated")
    assert over_openings(grid, tested, share, 0.37, 0.39)[1] == "partly extrapolated"


def mostly(**facts):
    entry = {
        "of": "friction",
        "direction": "energy density",
        "unit": "J/mm2",
        "words": "energy density down to 3 J/mm2",
        "share": 1.0,
    }
    return DutySupport.model_validate(
        {"friction_share": 0.2, "extrapolations": [entry, entry | {"of": "wear of the disc"}]} | facts
    )


@pytest.mark.parametrize(
    ("tested", "life", "basis", "sure", "causes"),
    [
        ([1.0, 1.0, 1.0, 1.0], True, "tested", (0.2, 0.6), []),
        ([1.0, 0.6, 0.6, 0.6], True, "partly extrapolated", (0.2, 0.6), []),
        ([0.0, 0.0, 0.0, 0.0], False, None, None, ["window"]),
        ([1.0, 1.0, 0.8, 0.2], False, None, (0.2, 0.4), ["window"]),
        ([1.0, 1.0, 1.0, 1.0], True, "mostly extrapolated", None, ["wear data"]),
        ([1.0, 1.0, 1.0, 1.0], False, "mostly extrapolated", (0.2, 0.6), []),
    ],
)
def test_openings_that_rest_mostly_on_extrapolation_are_reserved(tested, life, basis, sure, causes):
    grid = np.array([0.0, 0.2, 0.4, 0.6])
    span = Span(low=0.2, high=0.6)
    found = reserved(
        Openings(span, None, sure=span), mostly(life_basis=basis), grid, np.array(tested), np.ones(4), life=life
    )
    assert found.span == span
    assert (found.sure and (found.sure.low, found.sure.high)) == sure
    assert [one.cause for one in found.not_excluded] == causes
    assert (found.sure_why is None) == (sure is not None)


def test_what_stood_against_the_openings_stays():
    span = Span(low=0.2, high=0.6)
    before = Openings(span, None, sure=None, sure_why="it may glaze", not_excluded=())
    after = reserved(before, mostly(), np.array([0.2, 0.4, 0.6]), np.zeros(3), np.ones(3), life=False)
    assert after.sure_why == "it may glaze" and [one.cause for one in after.not_excluded] == ["window"]
    none = Openings(None, "no window")
    assert reserved(none, mostly(), np.array([0.2]), np.zeros(1), np.ones(1), life=False) is none
