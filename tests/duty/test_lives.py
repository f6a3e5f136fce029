"""Whose life a duty tells: all batches' together where they are shown equivalent, else the worst batch's."""

from statistics import NormalDist

import numpy as np
import pytest

from pipeline.duty.lives import OfBatch, Worn, picked, told, worst_row
from pipeline.results.model import renewed
from pipeline.results.wear import BatchWear, CompoundComponent
from pipeline.wear.exposure import exposure
from tests.duty.makers import energy_law

STOPS = exposure(np.full(10, 0.2))


def component(a, batch=None, *, specimens=()):
    rows = [
        {"batch": b, "specimen": s, "tests": [s], "factors": {"mechanical": {"value": f, "u": 0.001}}}
        for b, s, f in specimens
    ]
    scatter = {"shares": {"mechanical": 0.06}, "dof": 6.0}
    source = CompoundComponent.model_validate({"by_specimen": rows, "part_scatter": scatter})
    own = None
    if batch:
        factors = {"mechanical": {"value": a / 7.0}}
        own = BatchWear.model_validate({"batch": batch, "specimens": 2, "tests": ["t"], "factors": factors})
    return Worn("disc", energy_law(a), 4000.0, source=source, of_batch=own)


def batches(**rates):
    return [OfBatch(name, 2, (component(a, name),)) for name, a in rates.items()]


def test_the_worst_batch_tells_the_life_where_nothing_shows_them_equivalent():
    of = told([component(7.0)], batches(b1=6.5, b2=9.0, b3=7.0), lambda *_: "mechanical different", STOPS, 1, 0.95)
    assert of.of.batch == "b2" and "mechanical different" in of.of.why
    assert of.life.value == pytest.approx(4000 / (2.0 * 9.0))
    assert of.pooled.cycles.value == pytest.approx(4000 / (2.0 * 7.0))
    assert [one.batch for one, _ in of.by_batch] == ["b1", "b2", "b3"]


def test_batches_shown_equivalent_are_told_together():
    of = told([component(7.0)], batches(b1=6.9, b2=7.1), lambda *_: None, STOPS, 1, 0.95)
    assert of.of.batch is None and "equivalent" in of.of.why
    assert of.life == of.pooled.cycles


def test_one_batch_has_nothing_beside_it():
    of = told([component(7.0)], [], None, STOPS, 1, 0.95)
    assert of.of is None and of.worst is None and of.by_batch == () and of.life == of.pooled.cycles


def test_the_upper_end_of_the_shortest_of_several_lives_holds_that_it_was_picked():
    draws = [NormalDist(7.0, 0.2).inv_cdf((k + 0.5) / 400) for k in range(400)]
    law = renewed(energy_law(7.0), joint={"a": draws})
    alike = [OfBatch(name, 2, (Worn("disc", law, 4000.0),)) for name in ("b1", "b2", "b3")]
    of = told([component(7.0)], alike, None, STOPS, 1, 0.95)
    own = of.by_batch[1][1].cycles  # the first of them is the one picked
    assert of.by_batch[0][1].cycles == of.life
    assert of.life.low == pytest.approx(own.low)
    z = (of.life.value / of.life.high - 1) / (of.life.value / own.high - 1)
    assert z == pytest.approx(2.121 / 1.960, rel=0.02)  # normal quantiles of 0.95^(1/3) and 0.975


@pytest.mark.parametrize(("count", "plain"), [(2, 0.950), (3, 0.927), (6, 0.859)])
def test_picked_lives_hold_their_truth_as_often_as_said(count, plain):
    """Batches alike: the shortest of several estimates erred low; plain intervals would hold its truth in `plain`."""
    rng = np.random.default_rng(3)
    worst = rng.normal(size=(20000, count)).max(axis=1)  # wear's error, in standard errors
    own, widened = (NormalDist().inv_cdf((1 + confidence) / 2) for confidence in (0.95, picked(0.95, count)))
    assert np.mean((worst - own < 0) & (worst + own > 0)) == pytest.approx(plain, abs=0.006)
    assert np.mean((worst - widened < 0) & (worst + own > 0)) == pytest.approx(0.95, abs=0.006)
    assert widened >= own  # never narrower than a batch that was not picked


def test_a_batch_without_a_life_is_said_and_never_passed_over():
    silent = OfBatch("b3", 1, (Worn("disc", None, 4000.0, "no wear of the disc was read in batch b3"),))
    of = told([component(7.0)], [*batches(b1=6.9, b2=7.1), silent], lambda *_: None, STOPS, 1, 0.95)
    assert of.of.batch == "b2" and "no life of b3" in of.of.why


def test_the_worst_batchs_worst_specimen_is_drawn_to_it_by_its_noise():
    rows = [("b1", "A", 1.3), ("b1", "B", 1.2), ("b2", "A", 0.9)]
    one = OfBatch("b1", 2, (component(8.75, "b1", specimens=rows),))
    other = OfBatch("b2", 1, (component(6.3, "b2", specimens=rows),))
    row = worst_row(told([component(7.0, specimens=rows)], [one, other], None, STOPS, 1, 0.95), STOPS, 5000.0)
    assert (row.batch, row.component, row.specimen) == ("b1", "disc", "A")
    assert row.specimen_factor == pytest.approx(1.3 / 1.25, rel=0.01)
    assert row.specimen_life_km == pytest.approx(row.life_km.value / row.specimen_factor)
