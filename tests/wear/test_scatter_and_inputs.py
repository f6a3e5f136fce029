"""Batches that wear unlike on a disc whose card does not say how it conducts: scatter and heat inputs are found together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.method.wear import Wear
from pipeline.wear.compound import of_compound
from pipeline.wear.members import WearRecord
from tests.studies.decision_compounds import draw
from tests.studies.decision_tests import card_of, readings_of, run, stops_of, traces_of


@pytest.mark.heavy  # by default another compound of that study: tests/studies/test_decisions.py
def test_unlike_batches_on_a_disc_of_unknown_conductivity_are_no_misfit_of_the_law():
    """At the conductivity taken where a card states none the law is far off, and the scatter between specimens about it means nothing.

    One batch oxidises twice as much as the others. True law: 163 kJ/mol; the disc conducts 32 W/(m K), and takes 88 % of the heat.
    """
    rng = np.random.default_rng([1, 10, 0])
    of = draw(rng)
    of = replace(of, specimens=of.specimens[:4])
    records = []
    for test in run(of, rng):
        stops = stops_of(of, test, rng)
        records.append(
            WearRecord(card_of(of, test.specimen), stops, traces_of(of, test, stops), [], readings_of(of, test, rng))
        )
    found = of_compound(records, Wear(), "initial").components
    assert found is not None
    law = found["disc"].identified_law
    assert law is not None and law.model == "oxidation"
    energy = law.parameters["Ea"]
    assert energy.low is not None and energy.high is not None
    assert 100 < energy.low < of.wear.energy / 1e3 < energy.high < 220
