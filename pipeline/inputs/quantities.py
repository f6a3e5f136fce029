"""Values with a unit: `number unit` in files, SI inside.

Any unit of the right dimension is accepted. A temperature is absolute (degC, degF carry their offset) unless a
*difference* is asked for, which carries none. Definitions are pint's (SI brochure; NIST SP 811 for the customary
units).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any

from pydantic import BeforeValidator

from pipeline.errors import Unfit

# dimension -> (SI unit, units to name in a message)
DIMENSIONS: dict[str, tuple[str, str]] = {
    "length": ("m", "mm, cm, m, um, in"),
    "area": ("m^2", "cm^2, mm^2, m^2, in^2"),
    "volume": ("m^3", "mm^3, cm^3"),
    "mass": ("kg", "kg, g, mg, lb"),
    "density": ("kg/m^3", "g/cm^3, kg/m^3"),
    "duration": ("s", "s, ms, min, h"),
    "frequency": ("Hz", "Hz, kHz"),
    "angular_speed": ("rad/s", "rpm, rad/s, deg/s"),
    "linear_speed": ("m/s", "km/h, m/s, mph"),
    "acceleration": ("m/s^2", "m/s^2, ft/s^2"),
    "pressure": ("Pa", "bar, MPa, kPa, Pa, psi"),
    "torque": ("N m", "N m, kN m, lbf ft, lbf in"),
    "force": ("N", "N, kN, daN, lbf, kgf"),
    "inertia": ("kg m^2", "kg m^2, lb ft^2, slug ft^2"),
    "temperature": ("K", "degC, degF, K"),
    "temperature_difference": ("K", "K, degC, degF (a difference)"),
    "heat_capacity": ("J/(kg K)", "J/(kg K), kJ/(kg K)"),
    "conductivity": ("W/(m K)", "W/(m K)"),
    "conductance": ("W/K", "W/K"),
    "power_density": ("W/m^2", "W/mm^2, MW/m^2, W/m^2"),
    "energy_density": ("J/m^2", "J/mm^2, MJ/m^2"),
    "share": ("1", "a number such as 0.95, or 95 %"),
}

# What engineers write (common practice) and pint reads otherwise or not at all; pressures of a brake line are above
# ambient, so gauge units are the plain ones. Looked up after `_normal`, which takes exponents and separators.
_WRITTEN: dict[str, tuple[str, ...]] = {
    "degC": ("°C", "° C", "℃", "deg C", "C", "Cel"),
    "degF": ("°F", "° F", "℉", "deg F", "F"),
    "K": ("°K",),
    "lbf ft": ("lbft", "ft lb", "lb ft", "ft lbf", "lbfft", "ftlbf", "ftlb"),
    "lbf inch": ("in lbf", "in lb", "lb in", "lbf in", "lbin", "inlb"),
    "rpm": ("1/min", "/min", "min^-1", "r/min", "rev/min", "U/min", "u/min", "Upm", "UPM", "tr/min", "RPM", "Rpm"),
    "km/h": ("kph", "kmh", "kmph", "km/hr", "Km/h", "KM/H", "KPH"),
    "mph": ("MPH", "mi/h"),
    "um": ("µm", "μm"),
    "kg": ("Kg", "KG"),
    "ms": ("msec",),
    "bar": ("Bar", "BAR", "barg", "bar(g)"),
    "psi": ("PSI", "Psi", "psig", "psi(g)", "lbf/in^2"),
    "MPa": ("Mpa",),
    "kPa": ("KPa", "Kpa"),
    "kgf/cm^2": ("kp/cm^2",),
    "deg/s": ("°/s",),
}
SPELLINGS = {written: unit for unit, several in _WRITTEN.items() for written in several}
# Products written as one word, and other words for a unit.
_WORDS = {
    "Nm": "N m", "kNm": "kN m", "daNm": "daN m", "mNm": "mN m", "Nmm": "N mm", "Ncm": "N cm", "NM": "N m",
    "kgfm": "kgf m", "kgfcm": "kgf cm", "mkgf": "kgf m", "kpm": "kgf m", "mkp": "kgf m", "kp": "kgf",
    "kgK": "kg K", "gK": "g K", "in": "inch", "sec": "s", "sek": "s",
}  # fmt: skip
_SUPERSCRIPT = str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789")
_TORQUE_ONLY = {"lb ft", "ft lb", "in lb"}
_TEMPERATURE_ONLY = {"C", "F"}
_NUMBER = re.compile(r"^\s*([-+]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$", re.ASCII)
_SAFE_UNIT = re.compile(r"^[A-Za-z0-9%°℃℉µμ·⋅•./^*() _\-⁻⁰¹²³⁴⁵⁶⁷⁸⁹]{0,40}$")


# (factor, offset) to SI of the usual units, as `by_registry` finds them to the last bit (a test holds both together): pint and its
# definitions take some 0.4 s of CPU to load, and most stages read a card with these units and no other.
USUAL: dict[str, dict[str, tuple[float, float]]] = {
    "length": {"m": (1.0, 0.0), "cm": (0.01, 0.0), "mm": (0.001, 0.0), "um": (1e-06, 0.0), "km": (1000.0, 0.0)},
    "area": {"m^2": (1.0, 0.0), "cm^2": (0.0001, 0.0), "mm^2": (1e-06, 0.0)},
    "volume": {"m^3": (1.0, 0.0), "mm^3": (1e-09, 0.0)},
    "mass": {"kg": (1.0, 0.0), "g": (0.001, 0.0), "mg": (1e-06, 0.0)},
    "density": {"kg/m^3": (1.0, 0.0), "g/cm^3": (999.9999999999999, 0.0)},
    "duration": {"s": (1.0, 0.0), "ms": (0.001, 0.0), "min": (60.0, 0.0), "h": (3600.0, 0.0)},
    "frequency": {"Hz": (1.0, 0.0), "kHz": (1000.0, 0.0)},
    "angular_speed": {
        "rad/s": (1.0, 0.0),
        "rpm": (0.10471975511965977, 0.0),
        "rps": (6.283185307179586, 0.0),
        "deg/s": (0.017453292519943295, 0.0),
    },
    "linear_speed": {"m/s": (1.0, 0.0), "km/h": (0.2777777777777778, 0.0), "mph": (0.44704, 0.0)},
    "acceleration": {"m/s^2": (1.0, 0.0)},
    "pressure": {
        "Pa": (1.0, 0.0),
        "kPa": (1000.0, 0.0),
        "bar": (100000.0, 0.0),
        "MPa": (1000000.0, 0.0),
        "psi": (6894.7572931683635, 0.0),
        "kgf/cm^2": (98066.5, 0.0),
    },
    "torque": {
        "N m": (1.0, 0.0),
        "kN m": (1000.0, 0.0),
        "daN m": (10.0, 0.0),
        "kgf m": (9.80665, 0.0),
        "lbf ft": (1.3558179483314006, 0.0),
        "lbf inch": (0.11298482902761671, 0.0),
    },
    "force": {
        "N": (1.0, 0.0),
        "kN": (1000.0, 0.0),
        "daN": (10.0, 0.0),
        "lbf": (4.4482216152605005, 0.0),
        "kgf": (9.80665, 0.0),
    },
    "inertia": {"kg m^2": (1.0, 0.0), "lb ft^2": (0.0421401100938048, 0.0)},
    "temperature": {"K": (1.0, 0.0), "degC": (1.0, 273.15), "degF": (0.5555555555555556, 255.37222222222223)},
    "temperature_difference": {"K": (1.0, 0.0), "degC": (1.0, 0.0), "degF": (0.5555555555555556, 0.0)},
    "heat_capacity": {"J/(kg K)": (1.0, 0.0)},
    "conductivity": {"W/(m K)": (1.0, 0.0)},
    "conductance": {"W/K": (1.0, 0.0)},
    "power_density": {"W/m^2": (1.0, 0.0), "W/mm^2": (1000000.0, 0.0)},
    "energy_density": {"J/m^2": (1.0, 0.0), "J/mm^2": (1000000.0, 0.0)},
}


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=None)


def _normal(text: str) -> str:
    """The unit with its exponents behind `^` and its factors apart: kg·m², kg-m2 -> kg m^2; min⁻¹, min-1 -> min^-1."""
    plain = re.sub(r"[·⋅•]|(?<=[A-Za-z0-9])\.(?=[A-Za-z])", " ", text.translate(_SUPERSCRIPT))
    plain = re.sub(r"(?<=[A-Za-z0-9])\s*-\s*(?=[A-Za-z])", " ", plain)
    return re.sub(r"(?<=[A-Za-zµμ])(-\d|\d)(?![\dA-Za-z])", r"^\1", plain)


def _in_words(plain: str, dimension: str) -> str:
    """Products written as one word taken apart: kgm^2, daNm, J/kgK. What stands behind the only stroke of a heat capacity
    or a conductivity is all divided by (J/kg K, W/m K): read otherwise it is a quantity of another kind."""
    plain = re.sub(r"(?<=/)mK$|(?<=/\()mK(?=\)$)", "m K", plain)
    plain = re.sub(r"\b(kg|g)(m|cm|mm)\^2", r"\1 \2^2", plain)
    plain = re.sub(r"\b(lb|lbf|slug)(ft|in)\^2", r"\1 \2^2", plain)
    plain = re.sub(r"[^\W\d_]+", lambda word: _WORDS.get(word[0], word[0]), plain)
    if dimension in ("heat_capacity", "conductivity") and plain.count("/") == 1 and "(" not in plain:
        over, under = plain.split("/")
        plain = f"{over}/({under})"
    return plain


@lru_cache(maxsize=512)
def scale_offset(unit: str, dimension: str) -> tuple[float, float]:
    """Factor and offset that take a value in `unit` to SI: si = value * factor + offset.

    Raises ValueError with a readable text when the unit is unknown or of another dimension.
    """
    accepted = DIMENSIONS[dimension][1]
    text = unit.strip()
    if dimension == "share":
        if text in ("", "1", "-"):
            return 1.0, 0.0
        if text == "%":
            return 0.01, 0.0
        raise Unfit(f"unit {text[:40]!r} is not a share", accepted, "write the share as a number or in %")
    refusal = Unfit(
        f"unit {text[:40]!r} is not of the kind {dimension.replace('_', ' ')}", accepted, "correct the unit"
    )
    if not text:
        raise Unfit("a unit is missing", f"units accepted: {accepted}", "write number and unit")
    # '^' chains and brackets are arithmetic to a unit parser: bound what can be asked of it.
    plain = _normal(text)
    if not _SAFE_UNIT.match(text) or re.search(r"\d{3,}|\*\*|\^\s*-?\d{2,}|\^.*\^.*\^", plain):
        raise refusal
    if (plain in _TORQUE_ONLY and dimension != "torque") or (
        plain in _TEMPERATURE_ONLY and not dimension.startswith("temperature")
    ):
        spelled = plain
    else:
        spelled = SPELLINGS.get(text) or SPELLINGS.get(plain) or _in_words(plain, dimension)
    if dimension == "angular_speed" and not re.search(r"rad|deg|turn|rev|rpm|rps", spelled):
        raise refusal  # 1/s or Hz leaves open whether turns or radians are counted
    usual = USUAL[dimension].get(spelled)
    if usual is not None:
        return usual
    if dimension != "frequency" and any(spelled in units for units in USUAL.values()):
        raise refusal  # of another kind; to pint a speed of rotation is a frequency too
    try:
        return by_registry(spelled, dimension)
    except Exception as error:  # pint raises many kinds for a malformed unit
        raise refusal from error


def by_registry(unit: str, dimension: str) -> tuple[float, float]:
    """`scale_offset` by pint's definitions; raises as pint does where it does not know the unit, ValueError for another dimension."""
    registry = _registry()
    if dimension == "temperature_difference" and unit in ("degC", "degF"):
        unit = f"delta_{unit}"
    source, target = registry.Unit(unit), registry.Unit(DIMENSIONS[dimension][0].replace(" ", " * "))
    if source.dimensionality != target.dimensionality:
        raise ValueError(f"{unit} is not of the kind {dimension}")
    if dimension == "temperature":
        zero = registry.Quantity(0.0, source).to(target).magnitude
        factor = registry.Quantity(1.0, source).to(target).magnitude - zero
        # The exact factor (1 or 5/9), free of the offset's rounding.
        factor = round(factor * 9) / 9 if abs(factor * 9 - round(factor * 9)) < 1e-6 else factor
    else:
        factor, zero = registry.Quantity(1.0, source).to(target).magnitude, 0.0
    return float(factor), float(zero)


def reads_as(unit: str, dimension: str) -> bool:
    """Whether the unit is one of the dimension."""
    try:
        scale_offset(unit, dimension)
    except ValueError:
        return False
    return True


def to_si(value: Any, dimension: str) -> float:
    """SI value of `number unit`; raises ValueError naming what is accepted.

    Shares may be plain numbers. A plain number elsewhere is refused: a value without its unit is a guess.
    """
    accepted = DIMENSIONS[dimension][1]
    if isinstance(value, bool) or value is None:
        raise Unfit(
            f"{'nothing' if value is None else repr(value)} is not a value with a unit",
            f"units accepted: {accepted}",
            "write number and unit",
        )
    if isinstance(value, int | float):
        if dimension != "share":
            raise Unfit(f"{value!r} has no unit", f"units accepted: {accepted}", "write number and unit")
        number, unit = float(value), ""
    else:
        number, unit = _number_unit(str(value), accepted)
    factor, offset = scale_offset(unit, dimension)
    result = number / 100 if unit == "%" else number * factor + offset
    if not math.isfinite(result):
        raise Unfit(f"{str(value)[:60]!r} is not a finite number", f"units accepted: {accepted}", "correct the number")
    return result


def _number_unit(text: str, accepted: str) -> tuple[float, str]:
    """Number and unit of a text, the decimal mark a point or a comma."""
    match = _NUMBER.match(text)
    if not match:
        raise Unfit(f"{text[:60]!r} is not 'number unit'", f"units accepted: {accepted}", "write number and unit")
    if re.match(r"(?!1/\D)[\d.,'’]", match.group(2)):
        raise Unfit(
            f"{text[:60]!r}: thousands are not set apart",
            f"units accepted: {accepted}",
            "write the number as 1234.5 or 1234,5",
        )
    return float(with_point(match.group(1))), match.group(2)


def with_point(number: str) -> str:
    """The number with a decimal point in place of a decimal comma.

    Raises ValueError where the comma may set thousands apart: `1,780` is 1.78 to one reader and 1780 to another.
    """
    if re.match(r"^[-+]?[1-9]\d{0,2},\d{3}$", number.strip(), re.ASCII):
        plain = number.strip()
        meant = f"{plain.replace(',', '.')} or {plain.replace(',', '')}"
        raise Unfit(
            f"{plain!r} can mean {meant}",
            meant,
            "write the one that is meant, with a decimal point or without thousands",
        )
    return number.replace(",", ".")


@dataclass(frozen=True)
class Dimension:
    """Marks a field that takes `number unit`, with its dimension: what documentation and filled files follow from."""

    name: str

    @property
    def si(self) -> str:
        """The SI unit that the value has inside."""
        return DIMENSIONS[self.name][0]

    @property
    def units(self) -> str:
        """Units to name to a reader, the usual one first."""
        return DIMENSIONS[self.name][1]

    def __get_pydantic_json_schema__(self, core: Any, handler: Any) -> Any:
        """What an editor shows beside the key."""
        return {**handler(core), "description": f"number and unit: {self.units}"}

    def shown(self, value: float) -> str:
        """The SI value as `number unit` in the first of the usual units."""
        if self.name == "share":
            return f"{value * 100:.6g} %"
        unit = self.units.split(",")[0].strip()
        factor, offset = scale_offset(unit, self.name)
        return f"{(value - offset) / factor:.6g} {unit}"


def _positive(dimension: str) -> Any:
    def parse(value: Any) -> float:
        result = to_si(value, dimension)
        if result <= 0:
            raise Unfit(
                f"{value!r} must be above zero",
                f"above zero; units accepted: {DIMENSIONS[dimension][1]}",
                "correct the number",
            )
        return result

    return BeforeValidator(parse)


def _non_negative(dimension: str) -> Any:
    def parse(value: Any) -> float:
        result = to_si(value, dimension)
        if result < 0:
            raise Unfit(
                f"{value!r} must not be negative",
                f"zero or more; units accepted: {DIMENSIONS[dimension][1]}",
                "correct the number or its unit",
            )
        return result

    return BeforeValidator(parse)


Length = Annotated[float, _positive("length"), Dimension("length")]
Area = Annotated[float, _positive("area"), Dimension("area")]
Mass = Annotated[float, _positive("mass"), Dimension("mass")]
Density = Annotated[float, _positive("density"), Dimension("density")]
Inertia = Annotated[float, _positive("inertia"), Dimension("inertia")]
Pressure = Annotated[float, _non_negative("pressure"), Dimension("pressure")]
Torque = Annotated[float, _non_negative("torque"), Dimension("torque")]
Duration = Annotated[float, _non_negative("duration"), Dimension("duration")]
Frequency = Annotated[float, _positive("frequency"), Dimension("frequency")]
AngularSpeed = Annotated[float, _non_negative("angular_speed"), Dimension("angular_speed")]
LinearSpeed = Annotated[float, _non_negative("linear_speed"), Dimension("linear_speed")]
Acceleration = Annotated[float, _positive("acceleration"), Dimension("acceleration")]
Temperature = Annotated[
    float, _non_negative("temperature"), Dimension("temperature")
]  # kelvin: below zero is impossible
TemperatureDifference = Annotated[float, _non_negative("temperature_difference"), Dimension("temperature_difference")]
Conductivity = Annotated[float, _positive("conductivity"), Dimension("conductivity")]
Conductance = Annotated[float, _non_negative("conductance"), Dimension("conductance")]
HeatCapacity = Annotated[float, _positive("heat_capacity"), Dimension("heat_capacity")]
PowerDensity = Annotated[float, _non_negative("power_density"), Dimension("power_density")]
EnergyDensity = Annotated[float, _non_negative("energy_density"), Dimension("energy_density")]
Share = Annotated[float, _non_negative("share"), Dimension("share")]
