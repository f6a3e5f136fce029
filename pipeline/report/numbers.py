"""Numbers as a reader may trust them.

A value is written to the decimal place that its uncertainty supports: the half-width of its interval keeps two
significant digits when it begins with 1 or 2 and one otherwise, and the value stops at the same place
(JCGM 100:2008, 7.2.6: the uncertainty has at most two significant digits, the estimate is rounded to agree).
Without an uncertainty the place comes from the quantity (`PLACES`), never from the floating-point number.
"""

import math
import re
from typing import Any, TypeGuard

from pipeline.results.model import Interval

#: decimals of a quantity that comes without an uncertainty, by unit
PLACES = {
    "": 3,
    "°C": 0,
    "K": 0,
    "bar": 1,
    "rpm": 0,
    "N m": 0,
    "kJ": 1,
    "J/mm²": 2,
    "W/mm²": 2,
    "µm": 1,
    "%": 1,
    "s": 1,
}

MISSING = "not given"


def is_number(value: Any) -> TypeGuard[float]:
    """Whether `value` is a finite number (a bool is not)."""
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def decimals_for(uncertainty: float) -> int:
    """Decimal places that an uncertainty supports; negative means tens, hundreds. Raises ValueError unless > 0."""
    if not (is_number(uncertainty) and uncertainty > 0):
        raise ValueError(f"an uncertainty must be above zero, not {uncertainty!r}")
    exponent = math.floor(math.log10(uncertainty))
    leading = uncertainty / 10.0**exponent
    places = 1 - exponent if leading < 2.95 else -exponent
    return max(min(places, 9), -9)


def rounded(value: float, decimals: int) -> str:
    """`value` with that many decimals; no negative zero; negative decimals round to tens, hundreds."""
    if decimals <= 0:
        whole = round(value, decimals)
        return f"{whole + 0.0:.0f}".replace("-0", "0") if abs(whole) < 0.5 else f"{whole:.0f}"
    text = f"{value:.{decimals}f}"
    return text[1:] if float(text) == 0 and text.startswith("-") else text


def plain(value: float, unit: str = "", decimals: int | None = None) -> str:
    """A value without uncertainty: whole numbers as they are, others by `decimals` or the unit's places."""
    if isinstance(value, int):
        return str(value)
    places = PLACES.get(unit) if decimals is None else decimals
    if places is None:
        places = 0 if value == 0 else max(0, min(9, 2 - math.floor(math.log10(abs(value)))))
    if value != 0 and decimals is None and (abs(value) < 0.5 * 10.0**-places or places > 5):
        return powered(value, 2)
    return rounded(value, places)


def powered(value: float, digits: int) -> str:
    """`value` with so many significant digits, as a power of ten where it is below a thousandth."""
    if abs(value) >= 1e-3:
        return rounded(value, digits - 1 - math.floor(math.log10(abs(value))))
    exponent = math.floor(math.log10(abs(value)))
    return f"{value / 10.0**exponent:.{digits - 1}f}{power_of_ten(exponent)}"


def power_of_ten(exponent: int) -> str:
    """`×10⁻⁵`."""
    return "×10" + str(exponent).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))


LOW_ERROR = 0.05  # of a low end above zero: what two significant digits may cost it
ONE_SIDE = 3  # places more, at most, that keep a figure on its own side of a limit


def with_interval(
    value: float,
    low: float | None,
    high: float | None,
    unit: str = "",
    decimals: int | None = None,
    against: tuple[float | None, ...] = (),
) -> str:
    """`value (low to high)`, rounded by the interval's half-width; without a finite interval as `plain`.

    A low end above zero keeps at least what two significant digits hold of it, so that it is never printed as 0; `against`: limits on
    whose other side no figure may be rounded.
    """
    if not (is_number(low) and is_number(high)):
        return plain(value, unit, decimals)
    half = (high - low) / 2
    if half > 0:
        decimals = decimals_for(half)
        if abs(value) < half * 1e-12:
            value = 0.0
        decimals = _honest(decimals, (value, low, high), against)
        if all(float(one).is_integer() for one in (value, low, high)):
            decimals = min(decimals, 0)  # a count has no tenths
    elif decimals is None:
        decimals = PLACES.get(unit, 3)
    if decimals > 4 and 0 < abs(value) < 1e-3:
        exponent = math.floor(math.log10(abs(value)))
        scaled = [rounded(x / 10.0**exponent, max(decimals + exponent, 0)) for x in (value, low, high)]
        return f"{scaled[0]} ({scaled[1]} to {scaled[2]}) {power_of_ten(exponent)}"
    return f"{rounded(value, decimals)} ({rounded(low, decimals)} to {rounded(high, decimals)})"


def _honest(decimals: int, figures: tuple[float, float, float], against: tuple[float | None, ...]) -> int:
    """Places at which the low end keeps its size and every figure stays on its side of every limit."""
    low = figures[1]
    if 0 < low < figures[2]:
        two_digits = 1 - math.floor(math.log10(low))
        while decimals < two_digits and abs(round(low, decimals) - low) > LOW_ERROR * low:
            decimals += 1
    limits, most = [one for one in against if one is not None], decimals + ONE_SIDE
    while decimals < most and any(
        figure != one and (round(figure, decimals) - one) * (figure - one) <= 0 for figure in figures for one in limits
    ):
        decimals += 1
    return decimals


def chance(share: float) -> str:
    """A probability in per cent with one decimal; never certainty."""
    return "<0.1" if share < 0.1 else ">99.9" if share > 99.9 else rounded(share, 1)


def fixed(value: Any, decimals: int, *, sign: bool = False) -> str:
    """A number with so many decimals (and its sign), or that it is not given."""
    if not is_number(value):
        return MISSING
    return f"{value:{'+' if sign else ''}.{decimals}f}"


def unit_suffix(unit: str) -> str:
    """The unit set after a number: a no-break space before it, nothing for a pure number."""
    return f"\u00a0{unit.replace('m/s2', 'm/s²')}" if unit else ""


SPELLED = (
    ("nm_per_rad_s", "N m s/rad"),
    ("mm3_per_n_m", "mm³/(N m)"),
    ("mm3_per_mj", "mm³/MJ"),
    ("j_mm2", "J/mm²"),
    ("w_mm2", "W/mm²"),
    ("w_m2", "W/m²"),
    ("kg_m2", "kg m²"),
    ("rad_s", "rad/s"),
    ("m_s2", "m/s²"),
    ("w_k", "W/K"),
    ("kj", "kJ"),
    ("mj", "MJ"),
    ("nm", "N m"),
    ("n_m", "N m"),
    ("um", "µm"),
    ("mm", "mm"),
    ("km", "km"),
    ("rpm", "rpm"),
    ("bar", "bar"),
    ("pct", "%"),
    ("ms", "ms"),
    ("hz", "Hz"),
    ("kg", "kg"),
    ("mg", "mg"),
    ("c", "°C"),
    ("k", "K"),
    ("s", "s"),
    ("h", "h"),
    ("g", "g"),
    ("m", "m"),
)


def words(key: str) -> str:
    """A JSON key as words with its unit in brackets: `torque_rest_nm` is `torque rest (N m)`."""
    for suffix, unit in SPELLED:
        if key.endswith(f"_{suffix}") and "_per_" not in key.removesuffix(f"_{suffix}") + "_":
            return f"{key.removesuffix(f'_{suffix}').replace('_', ' ')} ({unit})"
    return key.replace("_", " ")


WORDED = (
    (re.compile(r"(?<![\w'\"./_-])mu(?![\w_-])"), "µ"),
    (re.compile(r"(?<=[JWN]/)mm2\b"), "mm²"),
    (re.compile(r"\bmm3(?=/)"), "mm³"),
    (re.compile(r"(?<=\d )kg m2\b"), "kg m²"),
    (re.compile(r"\bm/s2\b"), "m/s²"),
    (re.compile(r"(?<=\d )(degC|C)(?![\w°])"), "°C"),
    (re.compile(r"\+-(?=\d)"), "±"),
    (re.compile(r"(?<=\d)%"), " %"),
)


def worded(text: str) -> str:
    """A sentence of a results file as it is printed: mu -> µ, J/mm2 -> J/mm², 40 degC -> 40 °C, +-2% -> ±2 %. Names are left alone."""
    for pattern, sign in WORDED:
        text = pattern.sub(sign, text)
    return text


def unit_words(unit: str) -> str:
    """A unit as the files write it, as it is printed: um -> µm, mm3 -> mm³, degC -> °C; the unit 1 is not printed."""
    if unit == "1":
        return ""
    text = unit.replace("degC", "°C").replace("mm3", "mm³").replace("mm2", "mm²").replace("^2", "²").replace("^3", "³")
    return "µm" + text[2:] if text.startswith("um") else text


def interval_text(value: Interval | None, unit: str = "", why: str | None = None) -> str:
    """A value with its interval and unit, or why it is missing."""
    if value is not None and value.value is not None:
        return with_interval(value.value, value.low, value.high, unit) + unit_suffix(unit)
    return f"{MISSING}: {(value and value.why) or why or 'no such data'}"
