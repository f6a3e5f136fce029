"""The openings to run: every limit told, what is not excluded, the test that settles it, and invented compounds against the truth."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import yaml

from pipeline.archive.card import Card
from pipeline.drift.film import Film, Use, grouped
from pipeline.duty.cycle import Air, Move, events_of
from pipeline.duty.glazing import losses
from pipeline.duty.limits import openings, run
from pipeline.duty.lives import Worn
from pipeline.duty.places import Places
from pipeline.duty.settling import settling
from pipeline.duty.settling_log import with_log
from pipeline.duty.sweep import GRID
from pipeline.inputs.model import parse
from pipeline.results.drift import Scatter
from tests.drift.makers import Truth, made, short_program
from tests.duty.makers import brake, duty_cycle, energy_law
from tests.studies import film_openings
from tests.wear.makers import card_content

AIR = Air(6.0, 1.9, 295.15)
SCATTER = Scatter(sigma=0.016, rho=0.3, u_rho=0.1, block_sigma=0.001, exposed=1.0, dof=100.0)


def use(power: float, temperature: float, loss: float, u: float = 0.008, stops: int = 100, **more) -> Use:
    n = np.ones(stops)
    return Use("t", 1, power * n, temperature * n, 30.0 * n, np.zeros(stops, bool), loss, u, **more)


def film(*uses: Use) -> Film:
    return Film(grouped(uses), tuple(u for u in uses if u.glazed), (), 1e3, 2e3, SCATTER)


HARMLESS = use(0.1, 10.0, 0.0, stops=5000)


def judged(duty=None, wanted=0.9, **facts):
    duty = duty or duty_cycle()
    of = brake(window=(200.0, 420.0), **facts)
    events = events_of(duty)
    found = run(duty, events, of, AIR, GRID)
    return openings(duty, events, of, AIR, found, wanted), found, events, of


def test_the_life_that_a_duty_asks_for_limits_the_opening():
    hot = energy_law(7.0, 0.01, surface_c=[0.0, 2000.0], temperature_c=[0.0, 2000.0])
    parts = (Worn("disc", hot, 4000.0),)
    asked = 4.6 * 4000 / (7.0 * events_of(duty_cycle()).energy.sum() / 1e6)
    short, *_ = judged(duty_cycle(life=f"{0.5 * asked:.0f} km"), components=parts, film=film(HARMLESS))
    assert short.span is not None and not short.not_excluded
    long, *_ = judged(duty_cycle(life=f"{2 * asked:.0f} km"), components=parts, film=film(HARMLESS))
    assert long.span is None and "life holds at no opening" in long.why
    near, *_ = judged(duty_cycle(life=f"{0.9999 * asked:.1f} km"), components=parts, film=film(HARMLESS))
    assert [one.cause for one in near.not_excluded] == ["life"] and near.sure is None


def test_openings_beyond_the_temperatures_of_the_wear_readings_are_not_run():
    narrow = (Worn("disc", energy_law(temperature_c=[0.0, 300.0]), 4000.0),)
    found, *_ = judged(components=narrow, film=film(HARMLESS))
    limit = next(one for one in found.limits if one.cause == "wear data")
    assert limit.side == "low" and found.span.low == pytest.approx(limit.at) and "readings reach 300" in limit.why
    window = next(one for one in found.limits if one.cause == "window")
    assert window.at < limit.at  # told beside it, though it limits nothing here


def test_what_glazed_ends_the_openings_and_what_no_test_excludes_reserves_them():
    cold = use(60.0, 230.0, 0.4, stops=40, glazed=True)  # as hard as the duty, and it glazed up to 230 degC
    found, run_, *_ = judged(film=film(HARMLESS, cold))
    limit = next(one for one in found.limits if one.cause == "glazing")
    assert limit.side == "high" and found.span.high == pytest.approx(limit.at) and "or more by what glazed" in limit.why
    starts = run_.losses.use.temperature[-1].min(axis=0)
    at = float(np.interp(found.span.high, run_.opening, starts))
    assert at == pytest.approx(235.0, abs=25.0)
    nothing, *_ = judged(film=Film())
    assert nothing.span is not None and nothing.sure is None
    assert nothing.not_excluded[0].cause == "glazing" and "nothing bounds" in nothing.not_excluded[0].why


def test_loss_by_a_uniform_rate_is_the_sum_over_the_use():
    duty = duty_cycle(cycles=7)
    rate = use(
        200.0, 1500.0, 0.05, u=1e-9, stops=100, glazed=True
    )  # harder and warmer than anything: bounds from below
    of = brake(
        window=(200.0, 420.0),
        film=film(rate, dataclasses.replace(rate, power=rate.power * 0 + 0.01, temperature=rate.temperature * 0)),
    )
    events = events_of(duty)
    found = run(duty, events, of, AIR, GRID)
    work = 7 * events.energy.sum() / of.rubbing.friction_area / 1e6
    lost = min(0.05, 0.05 / 3000.0 * work)
    assert found.losses.low == pytest.approx(-np.expm1(-lost), rel=1e-3)
    one, three = found.losses.at(5, 0.05)
    assert one.low <= one.high and three.high > one.high


def test_a_cold_start_is_not_bounded_by_a_stop_or_two_of_a_test():
    """One stop as cold in a mix that lost 3 % says next to nothing of it: it enters with the fastest growth seen."""
    glazed = use(3.0, 150.0, 0.15, u=0.01, glazed=True)
    mix = dataclasses.replace(use(2.0, 200.0, 0.03), temperature=np.append(20.0, np.full(99, 200.0)))
    evidence = film(mix, glazed)
    start = np.array([20.0, 200.0])[:, None, None]
    found = losses(Places(np.array([2.0]), np.array([30.0]), start, start, 10), evidence, 0.05, 0.0005)
    fastest = evidence.largest_seen()
    assert fastest == pytest.approx((0.15 + evidence.z * 0.01) / 3000)
    assert evidence.at_most(2.0, np.array([20.0]))[1][0] > 5 * fastest
    assert found.growth[0] == pytest.approx(30 * fastest)


# --- the test that settles it


BLOCKS = [
    {"name": "check 1", "purpose": "check", "kind": "snub", "stops": 5, "speed": ["1450 rpm", "850 rpm"], "pressure": "25 bar",
     "initial_temperature": "300 degC"},
    {"name": "ridge use", "purpose": "duty", "kind": "snub", "stops": 12, "speed": ["1900 rpm", "700 rpm"], "pressure": "55 bar",
     "initial_temperature": "360 degC"},
]  # fmt: skip


@pytest.fixture(scope="module")
def named():
    content = card_content()
    card = parse(content | {"blocks": BLOCKS}, Card, "test.yaml")
    judged_, found, events, of = judged(film=Film(scatter=SCATTER), film_growth=1e-6)
    stops = made(Truth(program=short_program()), 1).stops
    test, why = settling(events, found, judged_, of, [card], [stops], "not known", 0.33)
    assert test is not None, why
    return test, content, events, found, of


def test_the_named_tests_blocks_are_read_by_a_card(named):
    test, content, *_ = named
    card = parse(content | yaml.safe_load(test.blocks), Card, "test.yaml")
    gentle = [b for b in card.blocks if b.name.startswith("gentle")]
    purposes = [b.purpose for b in card.blocks]
    runs = 1 + sum(b.name.startswith("hard") for b in card.blocks[:-2])
    assert len(gentle) % runs == 0
    gentle = gentle[: len(gentle) // runs]
    assert purposes[:1] + purposes[1 + len(gentle) : 2 + len(gentle)] == ["check", "check"]
    assert purposes[1 : 1 + len(gentle)] == ["duty"] * len(gentle)
    assert runs * sum(b.stops for b in gentle) == test.gentle_stops and {b.control for b in gentle} == {"torque"}
    assert sum(b.stops for b in card.blocks if b.name.startswith("hard")) == test.hard_stops
    assert test.hours is None and "not known" in test.hours_why


def test_the_named_test_tells_a_loss_near_the_target(named):
    """To a twelfth of the target, by three times as many checks on clean faces as after the use; half of the runs may do, and how far off."""
    test, content, *_ = named
    blocks = [b for b in parse(content | yaml.safe_load(test.blocks), Card, "test.yaml").blocks if b.purpose == "check"]
    runs = len(blocks) // 2
    assert [b.stops for b in blocks[:2]] == [3 * test.check_stops, test.check_stops] and blocks[-1].stops == 6
    film = Film(scatter=SCATTER)
    assert test.u == pytest.approx(film.u_of_checks(test.check_stops, 3 * test.check_stops) / np.sqrt(runs))
    assert film.u_of_checks(8, 24) < 0.9 * film.u_of_checks(8)
    assert film.z * test.u <= 0.08 * -np.log(0.95) or runs == 12
    if runs > 2:
        assert f"the first {runs // 2} do where their mean is" in test.text


def as_run(named, loss: float, glazed: bool) -> Film:
    """The film once the named test was run as its blocks say, its friction falling by so much (ln mu)."""
    test, content, events, _, of = named
    gentle = [
        b
        for b in parse(content | yaml.safe_load(test.blocks), Card, "test.yaml").blocks
        if b.name.startswith(("gentle use 1,", "gentle use,")) or b.name in ("gentle use", "gentle use 1")
    ]
    area, inertia = of.rubbing.friction_area * 1e6, parse(content, Card, "test.yaml").inertia
    rows = np.array(
        [
            (b.torque * (b.speed_start + b.speed_end) / 2 / area, b.initial_temperature - 273.15,
             inertia * (b.speed_start**2 - b.speed_end**2) / 2 / area)
            for b in gentle
            for _ in range(b.stops)
        ]
    ).T  # fmt: skip
    power = events.energy / events.brake_time / area
    assert rows[0].min() == pytest.approx(power.min(), rel=0.02) and rows[0].max() == pytest.approx(
        power.max(), rel=0.02
    )
    middle = np.array(
        [(b.speed_start + b.speed_end) / 2 * 0.33 for b in gentle]
    )  # m/s of the vehicle on a wheel of 0.33 m
    assert np.ptp(middle) > 1 and all(np.abs((events.start + events.end) / 2 - v).min() < 0.01 * v for v in middle)
    one = Use("named", 1, *rows, np.zeros(len(rows[0]), bool), loss, test.u, glazed=glazed)
    return Film(scatter=SCATTER, grown=(one,) if glazed else (), whole=(one,))


def test_the_named_test_settles_it_either_way(named):
    """It runs one use: without loss that opening is free of reservation, with a loss beyond the target none as cold holds."""
    at = named[0].opening
    harmless, *_ = judged(film=as_run(named, 0.0, False), film_growth=1e-6)
    assert harmless.sure is not None and harmless.sure.low <= at + 1e-9 and harmless.sure.high >= at - 1e-9
    glazes, *_ = judged(film=as_run(named, 0.15, True), film_growth=1e-6)
    assert glazes.span is None or glazes.span.high < at


def test_a_duty_whose_heat_is_not_known_is_run_as_it_settles_and_as_cold_as_it_may_be(named):
    """Two programs: the colder one from warm to cold, to free an opening, the other from cold to warm, to rule it out."""
    _, content, events, _, of = named
    card = parse(content | {"blocks": BLOCKS}, Card, "test.yaml")
    share = np.exp(0.06 * np.sqrt(3))
    air = dataclasses.replace(AIR, moves={"heat share": (Move(share=1 / share), Move(share=share))})
    of = dataclasses.replace(of, film=Film(scatter=SCATTER))
    found = run(duty_cycle(), events, of, air, GRID)
    judged_ = openings(duty_cycle(), events, of, air, found, 0.9)
    stops = made(Truth(program=short_program()), 1).stops
    test, why = settling(events, found, judged_, of, [card], [stops], "not known", 0.33)
    assert test is not None and "as cold as its brakings may" in test.text, why
    k = int(np.argmin(np.abs(found.opening - test.opening)))
    use_ = found.losses.use
    rise = use_.temperature[-1, 0, k] - (AIR.ambient - 273.15)
    # a share of 6 % on what heats a disc that also radiates: a little less on its rise
    assert 1.96 * 0.04 * rise < use_.temperature[-1, 0, k] - use_.colder[-1, 0, k] < 1.96 * 0.062 * rise
    uses: list[list[float]] = []
    for b in parse(content | yaml.safe_load(test.blocks), Card, "test.yaml").blocks:
        if b.purpose == "check":
            uses.append([])
        elif b.name.startswith("gentle"):
            uses[-1].append(b.initial_temperature - 273.15)
    uses = [one for one in uses if one]
    cold, settled = uses[0], uses[-1]
    assert cold == sorted(cold, reverse=True) and settled == sorted(settled) and len(uses) % 2 == 0
    assert max(cold) == pytest.approx(use_.colder[:, :, k].max(), abs=2.1)
    assert max(settled) == pytest.approx(use_.temperature[:, :, k].max(), abs=2.1)


def uncertain(u: float):
    """(duty run, brake, air, the named test) with a heat share and a cooling known to u each."""
    share = np.exp(u * np.sqrt(3))
    moves = {"heat share": (Move(share=1 / share), Move(share=share)),
             "cooling": (Move(h0=1 / share, h1=1 / share), Move(h0=share, h1=share))}  # fmt: skip
    air = dataclasses.replace(AIR, moves=moves)
    of = brake(window=(200.0, 420.0), film=Film(scatter=SCATTER))
    events = events_of(duty_cycle())
    found = run(duty_cycle(), events, of, air, GRID)
    card = parse(card_content() | {"blocks": BLOCKS}, Card, "test.yaml")
    stops = made(Truth(program=short_program()), 1).stops
    judged_ = openings(duty_cycle(), events, of, air, found, 0.9)
    test, why = settling(events, found, judged_, of, [card], [stops], "not known", 0.33)
    assert test is not None, why
    return found, of, air, test


def test_where_heat_leaves_the_temperatures_open_a_log_is_asked_for_before_the_test():
    found, of, air, test = uncertain(0.08)
    asked = with_log(test, found, of, air, 0.08)
    assert asked.log is not None and asked.log.opening == test.opening and asked.log.uses >= 2
    k = int(np.argmin(np.abs(found.opening - test.opening)))
    use_ = found.losses.use
    assert asked.log.within_now_k == pytest.approx((use_.temperature - use_.colder)[-1, :, k].mean(), rel=0.15)
    # a thermocouple known within 3 K and the air to 1 K, and what drives differ by
    assert asked.log.thermocouple_k == 3.0 and "thermocouple: 3 K" in asked.log.text
    sensors = 1.96 * np.hypot(3 / np.sqrt(3), 1)
    low, high = (one.braking[:, 0, k].mean() for one in found.settled.nodes["cooling"])
    drives = 1.96 * 0.03 * (low - high) / (2 * np.sqrt(3) * 0.08) / np.sqrt(asked.log.uses)
    assert asked.log.within_k == pytest.approx(np.hypot(sensors, drives), rel=1e-3)
    assert asked.log.uses == 6 or drives < sensors / 2
    rise = use_.temperature[-1, :, k].mean() + 273.15 - air.ambient
    assert asked.log.cooling_u == pytest.approx(asked.log.within_k / 1.96 / rise, rel=0.5)
    assert asked.text.startswith(test.text) and f"log of {asked.log.uses} uses" in asked.text
    told = [line for line in asked.blocks.splitlines() if line.startswith("#")]
    assert " ".join(line[2:] for line in told) == asked.log.text
    assert yaml.safe_load(asked.blocks) == yaml.safe_load(test.blocks)


def test_no_log_is_asked_for_where_its_thermometers_would_tell_no_more():
    found, of, air, test = uncertain(0.01)
    assert with_log(test, found, of, air, 0.01) is test
    found, of, air, test = uncertain(0.08)
    # a test of the use itself holds the target, and what keeps its opening open is what the checks scatter
    settled = dataclasses.replace(found, losses=dataclasses.replace(found.losses, heat=np.full(len(GRID), 0.5)))
    assert with_log(test, settled, of, air, 0.08) is test


def test_what_heat_and_what_checks_leave_open_of_a_tested_use_are_told_apart():
    """Tests of the use as it settles and as cold as it may be: the more they differ, the more is the heat's."""
    found, *_ = uncertain(0.08)
    use_ = found.losses.use
    k = 3
    n = [int(t) for t in use_.times]

    def ran(start: np.ndarray, loss: float) -> Use:
        rows = [
            (p, start[c, e, k], joule)
            for c in range(len(n))
            for e, (p, joule) in enumerate(zip(use_.power, use_.energy, strict=True))
            for _ in range(n[c])
        ]
        power, temperature, energy = np.array(sorted(rows, key=lambda row: -row[1])).T
        return Use("named", 1, power, temperature, energy, np.zeros(len(rows), bool), loss, 0.001)

    heat = []
    for colder in (0.011, 0.03):
        evidence = Film(scatter=SCATTER, whole=(ran(use_.temperature, 0.01), ran(use_.colder, colder)))
        heat.append(losses(use_, evidence, 0.05, 1e-6).heat[k])
    assert heat[0] < 1.5 < 4 < heat[1] and np.isnan(losses(use_, Film(scatter=SCATTER), 0.05, 1e-6).heat[k])


def test_a_use_of_too_many_kinds_of_stops_is_tested_by_alike_ones(named, monkeypatch):
    """As gentle and as cold as the duty at its opening; run without any loss it bounds the duty's settled cycle."""
    monkeypatch.setattr("pipeline.duty.settling_use.MOST_BLOCKS", 1)
    _, content, events, found, of = named
    judged_, *_ = judged(film=Film(scatter=SCATTER), film_growth=1e-6)
    card = parse(content | {"blocks": yaml.safe_load(named[0].blocks)["blocks"]}, Card, "test.yaml")
    test, why = settling(
        events, found, judged_, of, [card], [made(Truth(program=short_program()), 1).stops], "not known", 0.33
    )
    assert test is not None, why
    power = events.energy / events.brake_time / of.rubbing.friction_area / 1e6
    k = int(np.argmin(np.abs(found.opening - test.opening)))
    assert test.power_density_w_mm2 == pytest.approx(0.98 * power.min())
    assert test.temperature_c <= found.losses.use.temperature[-1, :, k].min()
    stops = use(test.power_density_w_mm2, test.temperature_c, 0.0, u=test.u, stops=test.gentle_stops)
    stops = dataclasses.replace(stops, energy=np.full(test.gentle_stops, test.energy_density_j_mm2))
    again, *_ = judged(film=film(stops), film_growth=1e-6)
    assert again.sure is not None


def test_openings_of_which_none_is_sure_are_reserved():
    """The window's inner ends leave no opening: that is a reservation, and told as one."""
    found, *_ = judged(film=film(HARMLESS), window_inner=(330.0, 331.0))
    assert found.span is not None and found.sure is None
    assert [one.cause for one in found.not_excluded] == ["window"] and "inner ends" in found.not_excluded[0].why


@pytest.mark.parametrize("cycles", [*(pytest.param(count, marks=pytest.mark.heavy) for count in (1, 2)), 400])
@pytest.mark.parametrize(
    "evidence", [Film(scatter=SCATTER), film(HARMLESS), film(use(60.0, 230.0, 0.4, stops=40, glazed=True))]
)
def test_uses_of_any_length_are_judged(named, cycles, evidence):
    duty = duty_cycle(cycles=cycles)
    found, run_, events, of = judged(duty, film=evidence)
    losses = run_.losses
    assert (losses.low >= 0).all() and (losses.low <= losses.high).all() and (losses.high_uses >= losses.high).all()
    content = named[1]
    card = parse(content | yaml.safe_load(named[0].blocks), Card, "test.yaml")
    stops = made(Truth(program=short_program()), 1).stops
    test, why = settling(events, run_, found, of, [card], [stops], "not known", 0.33)
    assert (test is None) != (why is None)


# --- against the truth


# two that do not glaze, one whose tests bracket the boundary
@pytest.mark.parametrize("index", [*(pytest.param(index, marks=pytest.mark.heavy) for index in (8, 11)), 18])
def test_an_invented_compound(index):
    found = film_openings.judged(index, 12)
    assert found["sure"] and found["sure_loss"] <= film_openings.LOSS_WANTED


@pytest.mark.heavy
def test_eight_invented_compounds():
    found = film_openings.counts([film_openings.judged(index, 12) for index in range(8)])
    assert found["glazes though unreserved"][0] == 0
