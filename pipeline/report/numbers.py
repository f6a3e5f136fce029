"""Numbers as a reader may trust them.

A value is written to the decimal place that its uncertainty supports: the half-width of its interval keeps two
significant digits when it begins with 1 or 2 and one otherwise, and the value stops at the same place
(JCGM 100:2008, 7.2.6: the uncertainty has at most two significant digits, the estimate is rounded to agree).
Without an uncertainty the place comes from the quantity (`PLACES`), never from the floating-point number.
"""

import math
from collections.abc import Mapping
from typing import Any

#: decimals of a quantity that comes without an uncertainty, by unit
PLACES = {"": 3, "°C": 0, "K": 0, "bar": 1, "rpm": 0, "N m": 0, "kJ": 1, "J/mm²": 2, "W/mm²": 2, "µm": 1, "%": 1, "s": 1}

MISSING = "not given"


def is_number(value: Any) -> bool:
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
    small = abs(value) < 0.5 * 10.0**-places and value != 0
    return f"{value:.2g}" if small and decimals is None else rounded(value, places)


def with_interval(value: float, low: float | None, high: float | None, unit: str = "", decimals: int | None = None) -> str:
    """`value (low to high)`, rounded by the interval's half-width; without a finite interval as `plain`."""
    if not (is_number(low) and is_number(high)):
        return plain(value, unit, decimals)
    half = (high - low) / 2
    if half > 0:
        decimals = decimals_for(half)
        if abs(value) < half * 1e-12:
            value = 0.0
    elif decimals is None:
        decimals = PLACES.get(unit, 3)
    return f"{rounded(value, decimals)} ({rounded(low, decimals)} to {rounded(high, decimals)})"


def unit_suffix(unit: str) -> str:
    """The unit set after a number: a no-break space before it, nothing for a pure number."""
    return f"\u00a0{unit}" if unit else ""


def why_missing(data: Any, key: str) -> str | None:
    """The reason that a JSON object gives for a null under `key`, or None.

    Reasons stand beside the null as `<key>_why`, `<key>_reason`, `why` or `reason`; `unusable` covers all.
    """
    if not isinstance(data, Mapping):
        return None
    for name in (f"{key}_why", f"{key}_reason", f"why_{key}", "why", "reason", "unusable"):
        text = data.get(name)
        if isinstance(text, Mapping):
            text = text.get(key)
        if isinstance(text, str) and text.strip():
            return text.strip()
    return None
