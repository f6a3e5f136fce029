"""Window share, wear, life and the opening to run: known answers, bounds and reasons."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from pipeline.archive.card import Card
from pipeline.drift.film import Film, Use
from pipeline.duty.brake_of_card import worn_of
from pipeline.duty.cycle import Air, events_of, settle, warm_up
from pipeline.duty.limits import openings, run
from pipeline.duty.lives import Worn, life, wear_per_cycle
from pipeline.duty.project import GentleLimit, project
from pipeline.duty.propagation import share_span
from pipeline.duty.rubbing import Plate
from pipeline.duty.sweep import GRID, common, rows
from pipeline.inputs.model import parse
from pipeline.results.duty import DutyProjection, Projected, Span
from pipeline.results.model import renewed
from pipeline.results.wear import CompoundComponent, CompoundWear, MeasuredRate
from tests.duty.makers import DISC, brake, duty_cycle, energy_law, oxidation_law
from tests.wear.makers import card_content, fitted_law

AIR = Air(6.0, 1.9, 295.15)
GENTLE = np.full(3000, 0.1), np.full(3000, 10.0), np.full(3000, 50.0), np.zeros(3000, bool)
HARMLESS = Film(groups=((Use("t", 1, *GENTLE, loss=0.0, u=0.005),),))  # use colder and gentler than any duty, and long


def projected(duty=None, made=None, opening=0.5):
    duty, made = duty or duty_cycle(), made or brake()
    events = events_of(duty)
    settled = settle(events, made.disc, AIR, np.array([opening]))
    warming = warm_up(events, made.disc, AIR, opening, count=duty.cycles, settled=float(settled.start[0]))
    return project(duty, events, settled, warming, made, 0)


def test_wear_and_life_by_the_energy_law():
    result = projected()
    energy_mj = events_of(duty_cycle()).energy.sum() / 1e6
    assert result.wear_um_per_cycle["disc"].value == pytest.approx(7.0 * energy_mj)
    assert result.life_cycles.value == pytest.approx(4000 / (7.0 * energy_mj))
    assert result.life_limited_by == "disc"
    assert result.life_km.value == pytest.approx(4.6 * result.life_cycles.value)
    wear = result.wear_um_per_cycle["disc"]
    assert wear.low == pytest.approx((7.0 - 1.96 * 0.2) * energy_mj, rel=0.02)
    assert result.life_cycles.low == pytest.approx(4000 / wear.high)
    assert result.extrapolated == []


def test_the_pad_may_reach_its_minimum_first():
    result = projected(
        made=brake(components=(Worn("disc", energy_law(), 4000.0), Worn("pad", energy_law(40.0), 14000.0)))
    )
    assert result.life_limited_by == "pad"
    assert result.life_cycles.value == pytest.approx(result.life_by_component["pad"].value)


def test_shares_count_the_energy_of_each_braking():
    events = events_of(duty_cycle())
    made = brake()
    settled = settle(events, made.disc, AIR, np.array([0.5]))
    start = settled.braking[:, 0, 0] - 273.15
    between = (np.sort(start)[0] + np.sort(start)[1]) / 2
    result = projected(made=dataclasses.replace(made, window=(between, 700.0)))
    assert result.window_share == pytest.approx(events.energy[start > between].sum() / events.energy.sum())


def test_glazing_counts_gentle_and_cold_brakings():
    events = events_of(duty_cycle())
    made = brake(window=None)
    settled = settle(events, made.disc, AIR, np.array([0.5]))
    start = np.sort(settled.braking[:, 0, 0] - 273.15)
    order = np.argsort(settled.braking[:, 0, 0])
    power = events.energy / events.brake_time / 0.0104 / 1e6
    limit = GentleLimit(power=1e3, temperature_c=(start[0] + start[1]) / 2, power_low=0.01)
    one = projected(made=dataclasses.replace(made, glazing=limit))
    assert one.glazing_share == pytest.approx(events.energy[order[0]] / events.energy.sum())
    assert one.glazing_share_interval.low == 0.0
    assert one.glazing_share_interval.high == pytest.approx(one.glazing_share)
    windowed = projected(made=dataclasses.replace(made, glazing=limit, window=(900.0, 950.0)))
    assert windowed.glazing_share == pytest.approx(1.0)  # all starts below the window
    middle = float(np.sort(power)[:2].mean())
    gentle = dataclasses.replace(limit, power=middle, temperature_c=900.0)
    assert projected(made=dataclasses.replace(made, glazing=gentle)).glazing_share == pytest.approx(
        events.energy[power < middle].sum() / events.energy.sum()
    )


def test_the_temperature_kind_decides_what_lies_inside():
    events = events_of(duty_cycle())
    settled = settle(events, DISC, AIR, np.array([0.5]))
    low, high = settled.braking[:, 0, 0].max() - 273.15, settled.braking[:, -1, 0].max() - 273.15
    window = ((low + high) / 2, 900.0)
    by = {kind: projected(made=brake(window=window, temperature_kind=kind)).window_share for kind in ("initial", "end")}
    assert by["initial"] == 0.0
    assert by["end"] > 0.3


def test_no_window_no_limit_no_law_are_null_with_reasons():
    made = brake(
        window=None, window_why="the compound has no window: data end at 480 degC", glazing=None,
        components=(Worn("disc", None, 4000.0, "two intervals are too few"), Worn("pad", None, None, "not measured")),
    )  # fmt: skip
    result = projected(made=made)
    assert result.window_share is None and "480 degC" in result.window_share_why
    assert result.glazing_share is None and result.glazing_share_why
    assert result.wear_um_per_cycle["disc"] == Projected(why="two intervals are too few")
    assert result.life_cycles.value is None and "two intervals" in result.life_cycles.why
    assert result.life_km.why == result.life_cycles.why


def test_life_without_an_upper_end():
    open_end = life(Worn("disc", energy_law(), 4000.0), Projected(value=1.0, low=-0.2, high=2.2))
    assert open_end.high is None and "no upper end" in open_end.why
    assert life(Worn("disc", energy_law(), None), Projected(value=1.0, low=0.9, high=1.1)).value is None


def test_oxidation_takes_the_dwell_and_the_surface():
    duty, plate = duty_cycle(), Plate(0.0352, 0.028, 1.7 / (0.0352 * 0.028), 25.0, "carbon")
    parts = (Worn("disc", oxidation_law(), 4000.0), Worn("pad", None, None, "not measured"))
    bulk = projected(duty, brake(components=parts), opening=0.3)
    surface = projected(duty, brake(components=parts, plate=plate), opening=0.3)
    mechanical = 6.0 * events_of(duty).energy.sum() / 1e6
    wear = [r.wear_um_per_settled_cycle["disc"].value for r in (bulk, surface)]
    assert mechanical < wear[0] < wear[1]
    hot = projected(duty, brake(components=parts), opening=0.1).wear_um_per_settled_cycle["disc"].value
    assert hot > wear[0]


def test_oxidation_of_a_settled_cycle_against_direct_integration():
    # bulk temperature: B times the integral of exp(-(Ea/R)(1/T - 1/th0)) over the kept history, by a fine trapezoid
    duty = duty_cycle()
    events = events_of(duty)
    settled = settle(events, DISC, AIR, np.array([0.2]))
    total = 6.0 * events.energy.sum() / 1e6
    for e in range(3):
        for path, seconds in (
            (settled.braking[e, :, 0], events.brake_time[e]),
            (settled.cooling[e, :, 0], events.then[e]),
        ):
            t = np.linspace(0, seconds, 4001)
            kelvin = np.interp(t, np.linspace(0, seconds, len(path)), path)
            total += 0.02 * np.trapezoid(np.exp(-(150e3 / 8.314462618) * (1 / kelvin - 1 / 873.15)), t)
    parts = (Worn("disc", oxidation_law(), 4000.0),)
    result = projected(duty, brake(components=parts), opening=0.2)
    assert result.wear_um_per_settled_cycle["disc"].value == pytest.approx(total, rel=0.01)


def test_warming_cycles_wear_less_by_oxidation():
    parts = (Worn("disc", oxidation_law(), 4000.0),)
    short = projected(duty_cycle(cycles=3), brake(components=parts), opening=0.2)
    long = projected(duty_cycle(cycles=300), brake(components=parts), opening=0.2)
    settled = long.wear_um_per_settled_cycle["disc"].value
    values = [r.wear_um_per_cycle["disc"].value for r in (short, long)]
    assert values[0] < values[1] < settled * 1.0001
    assert values[1] == pytest.approx(settled, rel=0.05)
    assert short.settled_within_use is False
    assert long.settled_within_use is True


def test_extrapolation_is_said():
    narrow = energy_law(7.0, 0.2, energy_mj=[0.01, 0.1])
    result = projected(made=brake(components=(Worn("disc", narrow, 4000.0),)), opening=0.0)
    said = " ".join(result.extrapolated)
    assert "energy" in said and "wear of the disc" in said
    assert "temperature up to" in said


def sweep_of(made, duty=None, wanted=0.9):
    duty = duty or duty_cycle()
    events = events_of(duty)
    found = run(duty, events, made, AIR, GRID)
    return openings(duty, events, made, AIR, found, wanted), events


def test_opening_to_run_ends_where_the_share_breaks():
    made = brake(window=(260.0, 420.0))
    found, events = sweep_of(made)
    span = found.span
    assert found.why is None and 0 < span.low < span.high < 1
    ends = {(one.side, one.at) for one in found.limits if one.cause == "window"}
    assert ends == {("low", span.low), ("high", span.high)}

    def share(opening):
        inside = settle(events, made.disc, AIR, np.array([opening])).braking[:, 0, 0] - 273.15
        return events.energy[(inside >= 260) & (inside <= 420)].sum() / events.energy.sum()

    for end, outward in ((span.low, -0.002), (span.high, 0.002)):
        assert share(end) >= 0.9
        assert share(end + outward) < 0.9


def test_no_opening_says_which_side_fails():
    found, _ = sweep_of(brake(window=(1500.0, 1600.0)))
    assert found.span is None
    assert "too cold" in found.why
    found, _ = sweep_of(brake(window=None, window_why="no window: nothing qualifies"))
    assert (found.span, found.why) == (None, "no window: nothing qualifies")


def test_an_opening_range_that_reaches_the_sweeps_ends():
    found, _ = sweep_of(
        brake(window=(30.0, 1200.0), components=(Worn("disc", energy_law(temperature_c=[0, 1200]), 4000.0),))
    )
    assert found.span == Span(low=0.0, high=1.0) and found.limits == ()


def with_opening(duty: str, span: Span | None) -> DutyProjection:
    return DutyProjection(
        duty=duty,
        opening=0.5,
        life_cycles=Projected(why="no law"),
        life_km=Projected(why="no law"),
        opening_to_run=span,
    )


def test_common_opening_of_several_duties():
    one, two = with_opening("a", Span(low=0.2, high=0.6)), with_opening("b", Span(low=0.5, high=1.0))
    assert common([one, two]) == (Span(low=0.5, high=0.6), None)
    apart = with_opening("c", Span(low=0.7, high=1.0))
    assert common([one, apart])[0] is None and "do not overlap" in common([one, apart])[1]
    assert common([one, with_opening("d", None)])[1] == "no opening to run on d"


def test_a_law_without_values_gives_no_wear():
    found = wear_per_cycle(
        Worn("disc", fitted_law({"model": "energy", "parameters": {}, "why": "not identified"}), 1.0), None, 1, 0.95
    )
    assert found.value is None and "not identified" in found.why


def test_intervals_of_the_window_bound_share_and_opening():
    made = brake(window=(260.0, 420.0), window_inner=(275.0, 400.0), window_outer=(245.0, 440.0))
    result, events = projected(made=made), events_of(duty_cycle())
    settled = settle(events, made.disc, AIR, np.array([0.5]))
    span, _ = share_span(settled, events, made, 0, result.window_share)
    assert span.low <= result.window_share <= span.high and span.low < span.high
    found, _ = sweep_of(dataclasses.replace(made, film=HARMLESS))
    assert not found.not_excluded
    assert found.span.low < found.sure.low < found.sure.high < found.span.high
    found, _ = sweep_of(made)
    assert found.sure is None and found.not_excluded[0].cause == "glazing" and found.span is not None
    assert share_span(settled, events, brake(), 0, 1.0) == (None, None)


def test_rows_of_the_sweep():
    made, duty = brake(window=(260.0, 420.0)), duty_cycle()
    events = events_of(duty)
    table = rows(duty, events, run(duty, events, made, AIR, GRID, lived=True), made)
    assert [r.opening for r in table] == GRID[::2].tolist()
    highest = [r.temperature_high_c for r in table]
    assert highest == sorted(highest, reverse=True)
    assert any("temperature up to" in text for text in table[0].extrapolated)
    assert table[-1].life_km == pytest.approx(4.6 * 4000 / (7.0 * events.energy.sum() / 1e6))


# --- laws that are not identified


def measured(a: float, u: float = 0.3, over: str = "hot use", **span) -> MeasuredRate:
    law = energy_law(a, u, **span)
    own = {name: getattr(law, name) for name in ("model", "parameters", "joint", "span")}
    return MeasuredRate(**own, over=over, intervals=2, tests=["t"], differing=0.0, ground=f"measured over {over}")


def test_no_life_is_projected_by_a_law_that_is_not_identified():
    law = renewed(energy_law(1.2), identified=False, why="misfit")
    wear = CompoundWear(compound="c", components={"disc": CompoundComponent(models=[law], chosen="energy")})
    worn = worn_of("disc", wear, parse(card_content(), Card, "test.yaml"))
    assert worn.model is None and worn.measured == ()
    result = projected(made=brake(components=(worn, Worn("pad", energy_law(9.0), 14000.0))))
    assert result.life_by_component["disc"].value is None
    assert "no wear law is identified: misfit" in result.life_by_component["disc"].why
    # The disc may be the first at its minimum: the brake has no life either, by whichever else.
    assert result.life_cycles.value is None and result.life_limited_by is None
    assert result.life_km.value is None and "misfit" in result.life_km.why


def test_life_by_the_measured_rate_says_its_ground():
    worn = Worn("disc", None, 4000.0, "no wear law is identified", (measured(7.0),))
    result = projected(made=brake(components=(worn,)))
    energy_mj = events_of(duty_cycle()).energy.sum() / 1e6
    assert result.life_cycles.value == pytest.approx(4000 / (7.0 * energy_mj))
    assert "measured over hot use" in result.life_cycles.ground and "not identified" not in result.life_cycles.ground
    assert result.life_km.ground == result.life_cycles.ground


def test_the_fastest_of_the_blocks_that_are_like_the_duty_counts():
    entries = (
        measured(5.0, over="gentle use"),
        measured(30.0, over="other use", temperature_c=[900.0, 950.0]),
        measured(9.0, over="hot use"),
        measured(8.0, over="all intervals after bedding"),
    )
    worn = Worn("disc", None, 4000.0, "no wear law is identified", entries)
    energy_mj = events_of(duty_cycle()).energy.sum() / 1e6
    assert projected(made=brake(components=(worn,))).wear_um_per_cycle["disc"].value == pytest.approx(9.0 * energy_mj)


def test_no_life_where_the_duty_is_unlike_what_was_measured():
    worn = Worn("disc", None, 4000.0, "no wear law is identified", (measured(7.0, energy_mj=[0.001, 0.01]),))
    made = brake(components=(worn,))
    result = projected(made=made)
    assert result.life_cycles.value is None
    assert "unlike those measured" in result.life_cycles.why and "MJ a stop" in result.life_cycles.why
    duty = duty_cycle()
    events = events_of(duty)
    assert all(r.life_km is None for r in rows(duty, events, run(duty, events, made, AIR, GRID, lived=True), made))
