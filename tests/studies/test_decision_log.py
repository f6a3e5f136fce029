"""The study's drive: what its log tells of the temperatures in the duty, against the world's own disc, thermocouples with a bias included."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.duty.air import Cooled, with_moves
from pipeline.duty.cycle import Air, events_of
from pipeline.duty.driven import driven
from pipeline.duty.limits import run
from pipeline.heat.lumped import Disc
from pipeline.results.openings import SettlingLog
from pipeline.results.sources import HeatInput
from tests.duty.makers import brake
from tests.studies.decision_compounds import COOLING_U, SHARE, SHARE_U, draw
from tests.studies.decision_log import drive_of
from tests.studies.decision_use import used
from tests.studies.decisions import file_of

ASKED = SettlingLog(
    opening=0.1, uses=2, sampling_hz=1.0, thermocouple_k=3.0, cooling_u=0.03, within_now_k=40.0, within_k=12.0, text=""
)  # fmt: skip


@pytest.mark.parametrize(
    ("index", "way", "limits_k"),
    [
        (3, -1.0, 9.0),
        *(pytest.param(*one, marks=pytest.mark.heavy) for one in ((3, -1.0, 3.0), (0, 1.0, 3.0), (0, 1.0, 9.0))),
    ],
)
def test_the_log_narrows_the_temperatures_and_holds_the_worlds(index, way, limits_k):
    """A thermocouple at the limits of its error either way: the world's coldest start lies within what is then known of it."""
    bias, asked = way * limits_k, ASKED.model_copy(update={"thermocouple_k": limits_k})
    rng = np.random.default_rng([1, 10, index])
    of = draw(rng)
    duty = of.duties[0]
    cycle = drive_of(of, duty, file_of(duty), asked, rng, bias)
    share = of.stated_share or SHARE
    inputs = (
        HeatInput(name="heat share", value=share, u=SHARE_U, source="default"),
        HeatInput(name="thermocouple", u=1.7, source="card"),
    )
    disc = Disc(of.body.mass, of.body.capacity or "carbon", of.body.radiating)
    on = brake(disc=disc, heat_share=share, inputs=inputs)
    known = HeatInput(name="cooling", u=COOLING_U, source="default")
    base = Cooled(with_moves(Air(duty.h0, duty.h1, cycle.ambient), on, COOLING_U), "duty file", known)
    cooled, told = driven(cycle, base, on)
    assert told.used and told.uses == 2 and told.points > 90, told.why
    opening = np.array([ASKED.opening])
    (wide, narrow) = (
        run(cycle, events_of(cycle), on, one.air, opening, worn=False).losses.use for one in (base, cooled)
    )
    half = [float((use.temperature - use.colder)[-1, :, 0].mean()) for use in (wide, narrow)]
    assert half[1] < 0.5 * half[0]
    coldest = float(used(of, duty, opening).coldest_c[0])
    start = int(narrow.temperature[-1, :, 0].argmin())
    assert narrow.colder[-1, start, 0] < coldest < 2 * narrow.temperature[-1, start, 0] - narrow.colder[-1, start, 0]
    assert np.sign(narrow.temperature[-1, start, 0] - coldest) == np.sign(bias)
