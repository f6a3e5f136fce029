"""One life wherever a duty tells it: the use's, of one batch over the whole sweep, with one interval, quoted where it is shortest."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.duty.burnt import burnt_of
from pipeline.duty.cycle import Air, events_of, settle, until_warm, warm_up
from pipeline.duty.limits import of_one_batch, openings, run, unlike_somewhere
from pipeline.duty.lives import OfBatch, Worn
from pipeline.duty.project import project, thinned
from pipeline.duty.rubbing import Plate
from pipeline.duty.sweep import GRID, rows
from pipeline.results.wear import CompoundComponent
from tests.duty.makers import brake, duty_cycle, energy_law, oxidation_law

AIR = Air(6.0, 1.9, 295.15)
PLATE = Plate(0.0352, 0.028, 1.7 / (0.0352 * 0.028), 25.0, "carbon")
AT = 20  # place in the grid of a duty's own opening, a shown one


def disc(law, batch=None):
    worn = Worn("disc", law, 4000.0, source=CompoundComponent())
    return worn if batch is None else OfBatch(batch, 2, (worn,))


def oxidising(b=0.3, **facts):
    return brake(components=(disc(oxidation_law(b=b)),), plate=PLATE, window=(20.0, 900.0), **facts)


def swept(made, duty):
    events = events_of(duty)
    found = run(duty, events, made, AIR, GRID, lived=True)
    made = replace(made, unlike=unlike_somewhere(found))
    return of_one_batch(found, made.unlike), made, events


@pytest.mark.parametrize("cycles", [2, 40])
def test_the_sweeps_life_at_the_dutys_opening_is_the_dutys_life(cycles):
    opening = float(GRID[AT])
    duty = duty_cycle(cycles=cycles, cooling={"h0": "6 W/K", "h1": 1.9, "opening": opening})
    found, made, events = swept(oxidising(), duty)
    settled = settle(events, made.disc, AIR, np.array([opening]))
    warming = warm_up(events, made.disc, AIR, opening, count=cycles, settled=float(settled.start[0]))
    own = project(duty, events, settled, warming, made, 0)
    row = rows(duty, events, found, made)[AT // 2]
    assert row.opening == opening
    assert row.life_km == pytest.approx(own.life_km.value, rel=1e-3)
    assert row.life_km_low == pytest.approx(own.life_km.low, rel=1e-3)
    assert row.wear_um_per_cycle["disc"].value == pytest.approx(own.wear_um_per_cycle["disc"].value, rel=1e-3)
    if cycles == 2:  # a use that ends before it is warm wears less than the settled cycle
        assert own.wear_um_per_cycle["disc"].value < 0.95 * own.wear_um_per_settled_cycle["disc"].value


def test_cycles_that_stand_for_others_stand_for_all():
    for count in (0, 1, 5, 9, 40, 300):
        parts = thinned(count)
        assert sum(weight for _, weight in parts) == count
        assert all(0 <= at < count for at, _ in parts) and len(parts) < 30


def test_a_use_is_warm_where_it_is_at_each_opening():
    duty = duty_cycle()
    events, made = events_of(duty), brake()
    opening = np.array([0.0, 1.0])
    settled = settle(events, made.disc, AIR, opening)
    together = warm_up(events, made.disc, AIR, opening, count=40, settled=settled.start)
    for k, at in enumerate(opening):
        alone = warm_up(events, made.disc, AIR, float(at), count=40, settled=float(settled.start[k]))
        assert until_warm(together, float(settled.start[k]), k, 40) == len(alone)


def test_one_batchs_life_is_told_over_the_whole_sweep():
    laws = {"b1": oxidation_law(b=0.005), "b2": oxidation_law(b=0.02)}  # apart where it is hot alone

    def alike(_, mix):
        return "oxidative different" if mix["oxidative"] > 0.3 else None

    made = oxidising(0.01, alike=alike, batches=tuple(disc(law, name) for name, law in laws.items()))
    duty = duty_cycle()
    events = events_of(duty)
    plain = run(duty, events, made, AIR, GRID, lived=True)
    own = [one.of.batch for one in plain.told]
    assert "b2" in own and None in own  # by each opening alone the curve would jump
    found, made, _ = swept(made, duty)
    assert {one.of.batch for one in found.told} == {"b2"}
    assert "at opening 0.00 oxidative different" in found.told[-1].of.why
    table = rows(duty, events, found, made)
    assert {row.life_of for row in table} == {"b2"}
    lives = [row.life_km for row in table]
    assert lives == sorted(lives)  # better cooled, longer life
    settled = settle(events, made.disc, AIR, np.array([1.0]))
    warming = warm_up(events, made.disc, AIR, 1.0, count=40, settled=float(settled.start[0]))
    assert project(duty, events, settled, warming, made, 0).life_of.batch == "b2"


def own(made, duty=None, opening=0.2):
    duty = duty or duty_cycle()
    events = events_of(duty)
    settled = settle(events, made.disc, AIR, np.array([opening]))
    warming = warm_up(events, made.disc, AIR, opening, count=40, settled=float(settled.start[0]))
    return project(duty, events, settled, warming, made, 0)


def test_what_burns_is_the_batchs_that_burns_most():
    """Rubbing alike, burning unlike: the share of all batches together is nobody's."""
    laws = {"b1": oxidation_law(b=0.05), "b2": oxidation_law(b=0.4), "b3": oxidation_law(b=0.1)}
    made = oxidising(0.15, worn_mass=1.5, batches=tuple(disc(law, name) for name, law in laws.items()))
    found = own(made)
    shares = {row.batch: row.wear_shares["disc"]["oxidative"] for row in found.by_batch}
    pooled = found.wear_shares["disc"]["oxidative"]
    assert shares["b1"] < pooled < shares["b2"] == max(shares.values())
    told = burnt_of(found, made)
    assert told.batch == "b2" and told.burnt == pytest.approx(shares["b2"] * 0.2 / 1.7)
    together = own(replace(made, alike=lambda *_: None))
    told = burnt_of(together, made)
    assert told.batch is None and told.burnt == pytest.approx(pooled * 0.2 / 1.7)


def test_each_batchs_row_says_what_its_own_readings_cover():
    cold = energy_law(8.0, temperature_c=[40.0, 100.0])
    made = brake(
        components=(disc(energy_law(7.0)),),
        batches=(disc(cold, "b1"), disc(energy_law(6.0, temperature_c=[0.0, 1200.0]), "b2")),
    )
    found = own(made)
    rows = {row.batch: row for row in found.by_batch}
    assert rows["b1"].wear_share["disc"] == found.support.wear_share["disc"] < 0.5 < rows["b2"].wear_share["disc"]
    assert any(one.direction == "temperature" for one in rows["b1"].extrapolations)
    assert not any(one.direction == "temperature" for one in rows["b2"].extrapolations)


def test_the_sweep_tells_where_the_life_that_it_tells_leaves_what_was_read():
    cold = energy_law(8.0, temperature_c=[40.0, 100.0])
    made = brake(components=(disc(energy_law(7.0)),), batches=(disc(cold, "b1"), disc(energy_law(6.0), "b2")))
    found, made, events = swept(made, duty_cycle())
    row = rows(duty_cycle(), events, found, made)[AT // 2]
    assert row.life_of == "b1" and any(
        "wear of the disc" in text and "temperature" in text for text in row.extrapolated
    )


def test_a_batch_that_oxidises_has_its_face_though_all_together_have_no_law():
    """The face's temperature is what its law knows; the bulk's would wear too little, and the life come out too long."""
    law = oxidation_law(b=0.3)
    pooled = Worn("disc", None, 4000.0, "no wear law is identified", source=CompoundComponent())
    alone = brake(components=(disc(law),), plate=PLATE)
    made = brake(components=(pooled,), plate=PLATE, batches=(disc(law, "b1"), disc(law, "b2")))
    (expected,) = (own(alone).wear_um_per_cycle["disc"].value,)
    for row in own(made).by_batch:
        assert row.wear_um_per_cycle["disc"].value == pytest.approx(expected, rel=1e-6)


def test_the_worst_batchs_row_has_the_interval_of_the_life_that_is_told():
    made = brake(components=(disc(energy_law(7.0)),), batches=tuple(disc(energy_law(a), n) for n, a in (("b1", 7.0), ("b2", 8.0), ("b3", 6.0))))  # fmt: skip
    duty = duty_cycle()
    events = events_of(duty)
    settled = settle(events, made.disc, AIR, np.array([0.5]))
    warming = warm_up(events, made.disc, AIR, 0.5, count=40, settled=float(settled.start[0]))
    own = project(duty, events, settled, warming, made, 0)
    row = next(one for one in own.by_batch if one.batch == own.life_of.batch)
    assert row.batch == "b2" and row.life_km == own.life_km == own.worst.life_km


def test_what_may_fail_is_said_where_it_is_worst():
    made = oxidising()
    plain = run(duty_cycle(), events_of(duty_cycle()), made, AIR, GRID, lived=True)
    asked = plain.lives[16].value
    duty = duty_cycle(life=f"{asked:.1f} km")
    events = events_of(duty)
    found = openings(duty, events, made, AIR, run(duty, events, made, AIR, GRID), 0.9)
    limit = next(one for one in found.limits if one.cause == "life")
    assert found.span.low == pytest.approx(limit.at)
    short = next(one for one in found.not_excluded if one.cause == "life")
    (at,) = run(duty, events, made, AIR, np.array([found.span.low])).lives
    assert short.low == pytest.approx(found.span.low) and short.high > short.low
    assert f"at {found.span.low:.2f} life may be as short as {at.low:.0f} km" in short.why
