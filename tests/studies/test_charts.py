"""A seeded small part of the study of control charts."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.laboratory import control
from tests.studies.charts import delays, in_control, plugged


def test_false_alarms_with_batches_that_follow_each_other():
    """Within three standard errors of the count; the study holds known limits to 10 %."""
    found = in_control(25, known=False, batch=4)
    _, average = control.run_lengths()
    assert abs(found.alarms - found.values / average) < 3 * np.sqrt(found.values / average)


def test_limits_plugged_in_are_crossed_as_often_as_computed():
    assert plugged(20_000, 10) == pytest.approx(control.plugged_in(10), rel=0.15)


def test_a_step_is_found_sooner_where_more_is_known():
    known, learnt = (delays(60, 0.010, 12, known=k) for k in (True, False))
    assert np.median(known) <= np.median(learnt)
    assert np.mean(np.isfinite(known)) >= np.mean(np.isfinite(learnt)) - 0.1
    assert np.median(delays(60, 0.010, 24, known=True)) <= 8
    assert np.median(delays(60, 0.005, 12, known=True)) <= 2
