"""Units: exact by definition (A5: international yard and pound; SI brochure), wrong ones refused with what is accepted."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.inputs.quantities import USUAL, by_registry, reads_as, scale_offset, to_si

LBF, INCH, FOOT, POUND = 4.4482216152605, 0.0254, 0.3048, 0.45359237


@pytest.mark.published("units by definition", source="international yard and pound; SI brochure", origin="certified")
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


@pytest.mark.parametrize("dimension", USUAL)
def test_the_usual_units_are_what_the_registry_says(dimension):
    """To the last bit: a value must not depend on whether another unit beside it brought the registry in."""
    assert {unit: by_registry(unit, dimension) for unit in USUAL[dimension]} == USUAL[dimension]


@pytest.mark.parametrize("dimension", USUAL)
def test_a_usual_unit_of_another_kind_is_refused_as_the_registry_does(dimension):
    for unit in {unit for units in USUAL.values() for unit in units} - set(USUAL[dimension]):
        assert reads_as(unit, dimension) == (dimension == "frequency" and reads_as(unit, "angular_speed"))
        if dimension not in ("frequency", "angular_speed"):  # 1/s: the same to the registry
            with pytest.raises(ValueError, match="not of the kind"):
                by_registry(unit, dimension)


KILOPOND = 9.80665  # the standard acceleration of free fall: 3rd General Conference on Weights and Measures (1901)


@pytest.mark.parametrize(
    ("texts", "dimension", "expected"),
    [
        (("1.78 g/cm3", "1,78 g/cm3", "1,78 g/cm³", "1.78 g cm-3", "1780 kg/m3", "1.78 kg/dm³"), "density", 1780.0),
        (("500 J/kgK", "500 J/(kgK)", "500 J/(kg·K)", "500 J/kg K", "500 J/kg/K", "500 J kg⁻¹ K⁻¹", "0,5 kJ/kgK"), "heat_capacity", 500.0),
        (("22 kgm²", "22 kg m2", "22 kgm2", "22 kg·m²", "22 kg-m^2", "22 kg.m2", "22,0 kg*m^2"), "inertia", 22.0),
        (("3 lbft2", "3 lb-ft²", "3 lb.ft2", "3 lb ft2"), "inertia", 3 * POUND * FOOT**2),
        (("30 Nm", "30 N-m", "3 daN m", "3 daNm", "3 daN·m", "0,03 kNm", "30000 Nmm"), "torque", 30.0),
        (("3 kgf m", "3 kgfm", "3 kgf·m", "3 mkp", "3 kp m"), "torque", 3 * KILOPOND),
        (("3 ft-lb", "3 lbf-ft", "3 lbf·ft", "3 ft lbf", "36 in-lb"), "torque", 3 * LBF * FOOT),
        (("30 U/min", "30 1/min", "30 min-1", "30 min⁻¹", "30 rev/min", "180 °/s"), "angular_speed", math.pi),
        (("20 °C", "20 ℃", "20 degC", "68 ℉"), "temperature", 293.15),
        (("40 W/mK", "40 W/(mK)", "40 W/(m·K)", "40 W/m K", "40 W m-1 K-1"), "conductivity", 40.0),
        (("5200 mm²", "5200 mm2", "52 cm2", "52 cm²", "52,0 cm^2"), "area", 52e-4),
        (("3 m/s²", "3 m/s2", "3 m s-2"), "acceleration", 3.0),
        (("36 km/h", "36 kmh", "36 kph", "10 m/sec"), "linear_speed", 10.0),
        (("2 W/mm2", "2 W/mm²"), "power_density", 2e6),
        (("2 J/mm2", "2 J/mm²"), "energy_density", 2e6),
        (("10 N/mm2", "10 N/mm²", "100 Bar", "100 bar(g)", "10 Mpa"), "pressure", 1e7),
        (("0,95", "95 %", "95,0 %"), "share", 0.95),
    ],
)  # fmt: skip
def test_the_trades_spellings_of_a_unit_are_one_value(texts, dimension, expected):
    for text in texts:
        assert to_si(text, dimension) == pytest.approx(expected, rel=1e-12), text


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("0,3 bar", 0.3),
        (",3 bar", 0.3),
        ("0,780 bar", 0.78),
        ("1234,567 bar", 1234.567),
        ("1,5e1 bar", 15),
        ("12,50 bar", 12.5),
    ],
)
def test_a_decimal_comma_is_read(text, value):
    assert to_si(text, "pressure") == pytest.approx(value * 1e5, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("1,780 g/cm^3", ("1.780", "1780")),  # which of the two, the text alone does not say
        ("-1,500 g/cm^3", ("-1.500", "-1500")),
        ("1,234.5 g/cm^3", ("thousands",)),
        ("1.234,5 g/cm^3", ("thousands",)),
        ("1 234,5 g/cm^3", ("thousands",)),
        ("1'234 g/cm^3", ("thousands",)),
        ("1,234,567 g/cm^3", ("thousands",)),
    ],
)
def test_a_comma_that_may_set_thousands_apart_is_refused(text, parts):
    with pytest.raises(ValueError, match="thousands") as error:
        to_si(text, "density")
    assert all(part in str(error.value) for part in parts)


@pytest.mark.parametrize(
    ("text", "dimension"),
    [
        ("40 W/mK", "conductance"),  # not 40 W per millikelvin
        ("3 kgm", "torque"),  # a mass times a length
        ("3 Nm", "inertia"),
        ("3 mm²²", "area"),
        ("3 m²", "length"),
        ("3 1/s", "angular_speed"),
        ("3 s⁻¹", "angular_speed"),
    ],
)
def test_a_spelling_makes_no_other_quantity(text, dimension):
    with pytest.raises(ValueError, match="is not of the kind"):
        to_si(text, dimension)


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
