"""Where the law is used, what rests on a curve is the law's; where it is not, nothing moves."""

from __future__ import annotations

import numpy as np

from pipeline.face.of_compound import Found
from pipeline.face.window import BATCHES, by_law
from pipeline.friction import result
from pipeline.friction.result import Wanted
from pipeline.method.friction import Friction
from pipeline.results.compound_friction import CompoundFriction, OfBatch
from pipeline.results.model import fields, renewed
from tests.face.test_law import world


def by_map(wanted: Wanted) -> CompoundFriction:
    of = result.of_map(world()[2], Friction(), wanted, 0.004)
    return CompoundFriction(compound="Face 1", **fields(of))


def test_window_curve_and_landmarks_are_the_laws_where_it_is_used() -> None:
    _, _, map_, law = world()
    before = by_map(Wanted())
    found = by_law(before, law, map_, Friction(), Wanted())
    assert found.window_by == "law" and found.map_window == before.window
    assert found.window is not None and found.window != before.window
    assert law.curve is not None
    assert [p.mu for p in found.curve] == list(law.curve[0].mu)
    assert all(p.tolerance_low < p.low < p.mu < p.high < p.tolerance_high for p in found.curve)
    assert found.sensitivity == before.sensitivity


def test_the_laws_window_is_nearer_to_the_truth_than_the_maps() -> None:
    """The world's own stops at the reference: where their middle 90 % leave the target band in the cold."""
    made, _, map_, law = world()
    c = made.compound
    truth = made.truth(np.linspace(40, 620, 117), c.reference.pressure_bar, c.reference.speed_rpm)
    level = float(np.median(truth.mu[truth.start > 250]))
    wanted = Wanted((0.9 * level, 1.15 * level))
    assert wanted.mu is not None
    low, _ = truth.ends(wanted.mu, 60.0, 600.0)
    before = by_map(wanted)
    after = by_law(before, law, map_, Friction(), wanted)
    assert low is not None and after.window is not None and before.window is not None
    assert abs(after.window.low_c - low) < 15.0
    assert abs(after.window.low_c - low) < abs(before.window.low_c - low)


def test_where_the_map_stays_only_the_law_is_added() -> None:
    _, _, map_, law = world()
    before = by_map(Wanted())
    found = by_law(before, Found(law.result), map_, Friction(), Wanted())
    assert found == renewed(before, face_law=law.result)
    assert found.window_by == "map" and found.map_window is None


def test_batches_of_their_own_are_said_to_be_the_maps() -> None:
    _, _, map_, law = world()
    before = renewed(by_map(Wanted()), by_batch=[OfBatch(batch="F-1"), OfBatch(batch="F-2")])
    found = by_law(before, law, map_, Friction(), Wanted())
    assert found.face_law is not None and BATCHES in found.face_law.notes
