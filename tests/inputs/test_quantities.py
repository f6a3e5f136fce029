"""Units: exact by definition (A5: international yard and pound; SI brochure), wrong ones refused with what is accepted."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.inputs.quantities import scale_offset, to_si

LBF, INCH, FOOT, POUND = 4.4482216152605, 0.0254, 0.3048, 0.45359237


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("1 psi", "pressure", LBF / INCH**2),
        ("1 psi", "pressure", 6894.757293168361),
        ("1 lbf ft", "torque", 1.3558179483314003),
        ("1 lbf in", "torque", 0.11298482902761668),
        ("1 slug ft^2", "inertia", 1.3558179483314003),
        ("1 lb ft^2", "inertia", POUND * FOOT**2),
        ("1 mph", "linear_speed", 0.44704),
        ("1 bar", "pressure", 1e5),
        ("1 kgf/cm^2", "pressure", 98066.5),
        ("1 in", "length", INCH),
        ("52 cm^2", "area", 52e-4),
        ("1.78 g/cm^3", "density", 1780.0),
        ("30 rpm", "angular_speed", math.pi),
        ("95 %", "share", 0.95),
        ("500 J/(kg K)", "heat_capacity", 500.0),
    ],
)
def test_values_by_definition(text, dimension, expected):
    assert to_si(text, dimension) == pytest.approx(expected, rel=1e-12)


def test_absolute_temperatures_carry_their_offset_and_differences_none():
    assert to_si("200 degF", "temperature") - 273.15 == pytest.approx(93.3333333333, abs=1e-9)
    assert to_si("212 degF", "temperature") == pytest.approx(373.15, abs=1e-9)
    assert to_si("9 degF", "temperature_difference") == pytest.approx(5.0, rel=1e-12)
    assert to_si("4 degC", "temperature_difference") == pytest.approx(4.0, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "named"),
    [
        ("40 bar", "length", "mm"),
        ("40", "pressure", "bar"),
        (40, "pressure", "bar"),
        ("forty bar", "pressure", "bar"),
        ("1e999 bar", "pressure", "finite"),
        ("3 Hz", "angular_speed", "rpm"),  # turns or radians: not for us to guess
        ("3 9^9^9^9", "length", "mm"),
        ("nan bar", "pressure", "bar"),
        ("40 %", "torque", "N m"),
        (True, "share", "95 %"),
    ],
)
def test_what_is_no_value_of_the_kind_is_refused_with_what_is_accepted(text, dimension, named):
    with pytest.raises(ValueError, match=named.replace("^", "\\^")):
        to_si(text, dimension)


@given(st.floats(-1e6, 1e6), st.sampled_from(["degC", "degF", "K"]))
def test_array_conversion_is_the_value_conversion(value, unit):
    factor, offset = scale_offset(unit, "temperature")
    assert value * factor + offset == pytest.approx(to_si(f"{value!r} {unit}", "temperature"), rel=1e-12, abs=1e-9)
