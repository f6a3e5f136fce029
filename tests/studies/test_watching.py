"""A seeded small part of the study of watched tests; an eighth of it under the heavy mark."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binomtest

from tests.studies.watching import causes, report, study, watched
from tests.studies.watching_tests import compound, glazing, sensor_fault, sound

CLEAR = ("glazing 12 %", "glazing 17 %", "torque gain drift, 8 % in 100 stops", "thermocouple open from a stop on")


@pytest.fixture(scope="module")
def few(tmp_path_factory):
    """Two sound tests, one that glazes and one with a fault, of one compound of which no other test is known."""
    rng, room = np.random.default_rng(21), tmp_path_factory.mktemp("readings")
    of = compound(rng)
    made = {
        "sound": sound(of, 1, rng),
        "sound too": sound(of, 2, rng),
        "glazing": glazing(of, 0.17, 3, rng),
        "fault": sensor_fault(of, 4, rng),
    }
    return {cause: watched(cause, test, {}, room) for cause, test in made.items()}


def test_sound_tests_raise_no_alarm(few):
    assert few["sound"].alarm() is None and few["sound too"].alarm() is None
    assert few["sound"].looks >= 3


def test_a_glaze_and_a_fault_are_said_after_they_begin_and_long_before_the_end(few):
    for cause, kind, within in (("glazing", "drift", 90), ("fault", "fault", 3)):
        alarm = few[cause].alarm()
        assert alarm is not None and alarm.said.kind == kind
        assert few[cause].onset <= alarm.after < few[cause].onset + within
        assert alarm.after < few[cause].stops - 30


@pytest.mark.heavy
def test_false_alarms_and_delays_of_a_part_of_the_study():
    found = study(4, 2, seed=2)
    of_sound = [one for one in found if one.cause == "sound"]
    alarms = sum(one.alarm() is not None for one in of_sound)
    assert binomtest(alarms, len(of_sound), 0.02, alternative="greater").pvalue > 0.01
    for cause in CLEAR:
        own = [one for one in found if one.cause == cause]
        assert len(own) == 2 and all((alarm := one.alarm()) and alarm.after >= one.onset for one in own)
    assert set(causes()) == {one.cause for one in found} - {"sound"}
    text = report(found)
    assert "## Sound tests" in text and "## Tests that go wrong" in text and "nan" not in text
