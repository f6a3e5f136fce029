"""A duty is run at the heat share and conductivity that its wear law found: one disc behind law and projection."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.duty.air import with_moves
from pipeline.duty.at_found import at_found
from pipeline.duty.cycle import Air, events_of, settle, warm_up
from pipeline.duty.lives import OfBatch, Worn
from pipeline.duty.project import project
from pipeline.duty.rubbing import Plate
from pipeline.heat.propagation import standard
from pipeline.results.model import renewed
from pipeline.results.sources import HeatInput
from tests.duty.makers import brake, duty_cycle, oxidation_law

PLATE = Plate(0.0352, 0.028, 1.7 / (0.0352 * 0.028), 30.0, "carbon")
KNOWN = (
    HeatInput(name="heat share", value=0.95, u=0.06, source="default"),
    HeatInput(name="conductivity", value=30.0, u=0.15, source="card"),
)
SHIFT = {"heat share": -0.6, "conductivity": -0.35}


def made():
    inputs = [
        renewed(one, shift=SHIFT[one.name], draws=(SHIFT[one.name] + 0.8 * standard(one.name, 300)).tolist())
        for one in KNOWN
    ]
    law = renewed(oxidation_law(b=0.05), inputs=inputs)
    parts = (Worn("disc", law, 4000.0),)
    return brake(components=parts, batches=(OfBatch("b", 1, parts),), plate=PLATE, heat_share=0.95, inputs=KNOWN)


def run(of):
    duty = duty_cycle()
    events, air = events_of(duty), with_moves(Air(6.0, 1.9, 295.15), of, 0.1)
    settled = settle(events, of.disc, air, np.array([0.4]), of.heat_share)
    warming = warm_up(events, of.disc, air, 0.4, count=40, settled=settled.start, share=of.heat_share)
    return project(duty, events, settled, warming, of, 0)


def test_one_share_and_face_for_law_and_projection():
    before, found = made(), at_found(made())
    assert found.heat_share == pytest.approx(0.95 * np.exp(-0.6 * 0.06))
    assert found.plate.conductivity == pytest.approx(30 * np.exp(-0.35 * 0.15))
    told = {one.name: one for one in found.inputs}
    assert told["heat share"].value == 0.95 and told["heat share"].found == pytest.approx(found.heat_share)
    assert told["conductivity"].shift == -0.35 and told["conductivity"].found == pytest.approx(28.465, abs=0.01)
    for one in (*found.components, *found.batches[0].components):
        assert [i.shift for i in one.model.inputs] == [0.0, 0.0]
        assert np.mean(one.model.inputs[0].draws) == pytest.approx(0.0, abs=0.01)
    # wear was at the law's setting before, by parabolas; temperatures were not
    a, b = run(before), run(found)
    assert b.life_km.value == pytest.approx(a.life_km.value, rel=0.01)
    assert b.life_km.low == pytest.approx(a.life_km.low, rel=0.03) and b.life_km.high == pytest.approx(
        a.life_km.high, rel=0.03
    )
    assert b.temperature_high_c < a.temperature_high_c - 5
    plain = run(replace(before, heat_share=found.heat_share))
    assert b.temperature_high_c == pytest.approx(plain.temperature_high_c)


def test_a_law_that_knows_no_input_leaves_the_brake_as_it_is():
    plain = replace(made(), components=(Worn("disc", oxidation_law(), 4000.0),))
    assert at_found(plain) == plain
