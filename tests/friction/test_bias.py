"""A thermocouple's bias in the ends of a window."""

from __future__ import annotations

import pytest

from pipeline.friction.bias import with_bias, without_bias
from pipeline.results.friction_map import EndInterval, Window, WindowEstimate
from tests.report.contents import window


def test_a_bias_goes_with_the_ends_intervals_by_the_squares():
    facts = {
        "low_c": 200.0,
        "low_interval_c": {"low": 194.0, "high": 202.0},
        "high_interval_c": {"why": "the data end"},
    }
    found = Window.model_validate(window(**facts))
    wide = with_bias(found, 4.0)
    half = 1.959964 * 4.0
    assert wide.low_interval_c.low == pytest.approx(200 - (36 + half**2) ** 0.5)
    assert wide.low_interval_c.high == pytest.approx(200 + (4 + half**2) ** 0.5)
    assert wide.high_interval_c == EndInterval(why="the data end") and wide.thermocouple_u_k == 4.0
    back = without_bias(wide)
    assert (back.low_interval_c.low, back.low_interval_c.high) == pytest.approx((194.0, 202.0))
    assert without_bias(found) is found


def test_the_best_estimate_of_the_ends_has_the_bias_too():
    facts = window(low_interval_c={"low": 228.0, "high": 235.0})
    found = WindowEstimate.model_validate({name: facts[name] for name in WindowEstimate.model_fields if name in facts})
    wide = with_bias(found, 4.0)
    half = 1.959964 * 4.0
    assert wide.low_interval_c.low == pytest.approx(231.4 - (3.4**2 + half**2) ** 0.5)
    assert wide.thermocouple_u_k == 4.0 and wide.low_c == found.low_c
