"""Numbers stop at the decimal place that their uncertainty supports."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.report import numbers


@pytest.mark.parametrize(
    ("half", "decimals"),
    [(0.011, 3), (0.029, 3), (0.031, 2), (0.9, 1), (1.4, 1), (4.0, 0), (26.0, 0), (310.0, -2), (0.00012, 5)],
)
def test_two_digits_of_uncertainty_below_three_else_one(half, decimals):
    assert numbers.decimals_for(half) == decimals


def test_value_and_interval_share_the_place():
    assert numbers.with_interval(0.45234, 0.4412, 0.4637) == "0.452 (0.441 to 0.464)"
    assert numbers.with_interval(9683.0, 8740.0, 10810.0) == "9700 (8700 to 10800)"
    assert numbers.with_interval(3.1e-5, 2.9e-5, 3.3e-5) == "3.10 (2.90 to 3.30) ×10⁻⁵"


def test_counts_have_no_tenths():
    assert numbers.with_interval(7, 5, 9) == numbers.with_interval(7.0, 5.0, 9.0, decimals=0) == "7 (5 to 9)"
    assert numbers.with_interval(7.0, 5.0, 9.5) == "7.0 (5.0 to 9.5)"


def test_without_an_interval_the_unit_decides():
    assert numbers.with_interval(231.44, None, None, "°C") == "231"
    assert numbers.plain(0.4567) == "0.457"
    assert numbers.plain(12) == "12"
    assert numbers.plain(0.0000412, "mm³/(N m)") == "4.1×10⁻⁵"


def test_no_negative_zero():
    assert numbers.rounded(-0.0001, 2) == "0.00"
    assert numbers.rounded(-0.2, 0) == "0"


@given(st.floats(1e-6, 1e6), st.floats(0.001, 0.5))
@settings(deadline=None, max_examples=80)
def test_rounding_moves_a_value_by_less_than_a_sixth_of_its_half_width(value, share):
    half = value * share
    text = numbers.with_interval(value, value - half, value + half)
    head = text.split(" (")[0]
    scale = 1.0
    if "×10" in text:
        exponent = text.split("×10")[1].translate(str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789"))
        scale = 10.0 ** int(exponent)
    assert abs(float(head) * scale - value) <= half / 5.8


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_an_uncertainty_that_is_none_is_refused(bad):
    with pytest.raises(ValueError, match="above zero"):
        numbers.decimals_for(bad)


def test_keys_become_words_with_units():
    assert numbers.words("torque_rest_nm") == "torque rest (N m)"
    assert numbers.words("b_nm_per_rad_s") == "b (N m s/rad)"
    assert numbers.words("temperature_initial_c") == "temperature initial (°C)"
    assert numbers.unit_words("um/MJ") == "µm/MJ"
