"""The face's own radiation against finite volumes that know nothing of it: the study's disc, which radiates from its face."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.heat.face_loss import bare, below
from pipeline.heat.lumped import STEFAN_BOLTZMANN
from tests.studies.decision_world import CELLS, FACE_RADIATES, Body, brake

RING = 0.0355
BODY = Body(mass=1.77, ring=RING, thickness=0.028, conductivity=12.0, share=0.95, radiating=0.081, capacity=1400.0)


def stopped(body: Body, kelvin: float = 850.0):
    """A braking of 3 s and 40 s after it."""
    one = np.ones(1)
    start = np.full((1, CELLS), kelvin)
    return brake(
        body, start, 1.5e5 * one, 40 * one, 20 * one, 3 * one, 40 * one, (12 * one, 12 * one), 295.0, steps=(60, 120)
    )


def radiating(body: Body) -> float:
    return STEFAN_BOLTZMANN * FACE_RADIATES * body.radiating / (2 * body.ring)


@pytest.mark.parametrize("conductivity", [6.0, 12.0, 40.0])
def test_an_evened_out_face_lies_below_the_mean_by_what_it_radiates(conductivity):
    body = replace(BODY, conductivity=conductivity)
    found = stopped(body)
    mean, face = found.after_mean[-1, 0], found.after_face[-1, 0]
    told = below(np.array([mean]), radiating(body), body.thickness / 2, conductivity)[0]
    assert mean - face > 0.8 * 60 / conductivity  # 8 K at 12 W/(m K): worth it
    assert mean - told == pytest.approx(mean - face, rel=0.12)


def test_oxidation_of_a_stop_and_its_pause_is_that_of_the_cooler_face():
    """An activation energy of 160 kJ/mol: by the mean's loss alone a tenth too much, by the face's own within 4 %."""
    black = replace(BODY, radiating=0.0)

    def oxidised(time: np.ndarray, face: np.ndarray) -> float:
        return float(np.trapezoid(np.exp(-160e3 / 8.314 * (1 / face - 1 / 873.15)), time))

    true, cool = stopped(BODY), stopped(black)
    # what one would have who knows the true mean, and how far the face lies above it by the friction heat alone
    bulk = true.after_mean[:, 0] + cool.after_face[:, 0] - cool.after_mean[:, 0]
    time = true.after_time[:, 0]
    wanted = oxidised(time, true.after_face[:, 0])
    assert oxidised(time, bulk) > 1.08 * wanted
    told = below(bulk, radiating(BODY), BODY.thickness / 2, BODY.conductivity)
    assert oxidised(time, told) == pytest.approx(wanted, rel=0.04)


def test_bare_faces_are_the_rings_less_the_pads():
    assert bare(0.8, 0.035, 0.0094) == pytest.approx(STEFAN_BOLTZMANN * 0.8 * (1 - 0.0094 / 0.07))
    assert bare(None, 0.035, 0.0094) == 0 and bare(0.8, 0.035, 0.2) == 0
    kelvin = np.array([300.0, 900.0])
    assert (below(kelvin, 0.0, 0.014, 12.0) == kelvin).all()
