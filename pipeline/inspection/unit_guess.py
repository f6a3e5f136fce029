"""Units of columns: which kind a stated unit is of, which units would make sense where none is stated, and what is beyond sense.

What makes sense (common practice): line pressures of 0.5 to 250 bar, torques of 5 N m to 20 kN m, shafts below 10,000 rpm, discs from
-70 to 1300 degC, brakings of 0.2 s to 5 min, 2 to 120 N m per bar, inertias of 0.3 to 500 kg m^2.
"""

from __future__ import annotations

from functools import lru_cache

from pipeline.inputs.quantities import DIMENSIONS, reads_as, scale_offset
from pipeline.inputs.unit_slips import UNITS
from pipeline.recordings.columns import OPEN_SPEEDS, TURNS

OTHER_KINDS = frozenset(
    ("N", "kN", "W", "kW", "MW", "J", "kJ", "MJ", "V", "mV", "kV", "A", "mA", "g", "Ω", "ohm", "dB", "l/min", "ppm")
)
KIND = {
    "time": "duration", "torque": "torque", "pressure": "pressure", "pressure_2": "pressure", "drive_torque": "torque",
    "air_speed": "linear_speed", "humidity": "share", "displacement": "length",
}  # fmt: skip
# SI: lowest, highest of what a quantity may be in a braking
SENSE = {
    "duration": (0.2, 300.0),
    "pressure": (0.5e5, 250e5),
    "torque": (5.0, 2e4),
    "angular_speed": (5.0, 1050.0),
    "linear_speed": (1.0, 120.0),
    "temperature": (203.0, 1573.0),
}
TORQUE_PER_PRESSURE = (2e-5, 120e-5)  # N m per Pa
INERTIA = (0.3, 500.0)  # kg m^2
FIRST = {
    "temperature": "degC",
    "duration": "s",
    "torque": "N m",
    "pressure": "bar",
    "angular_speed": "rpm",
    "linear_speed": "km/h",
}


def kinds_of(channel: str) -> tuple[str, ...]:
    """Dimensions that a channel may have."""
    if channel == "speed":
        return ("angular_speed", "linear_speed")
    return (KIND.get(channel, "temperature"),)


@lru_cache(maxsize=512)
def kinds_said(unit: str) -> frozenset[str]:
    """Dimensions that a stated unit is one of; `other` where it is of none that a channel has; empty where it says nothing."""
    text = unit.strip()
    if not text or text in ("-", "1", "--"):
        return frozenset()
    if text in OPEN_SPEEDS or text in TURNS:
        return frozenset(["angular_speed"])
    found = {d for d in DIMENSIONS if d not in ("share", "temperature_difference") and reads_as(text, d)}
    if text == "%":
        found.add("share")
    if found & {*SENSE, "share", "length"}:
        return frozenset(found)
    return frozenset(["other"]) if found or text in OTHER_KINDS else frozenset()


def is_force(unit: str) -> bool:
    """Whether a stated unit is one of force."""
    return reads_as(unit, "force")


def readable(unit: str, channel: str) -> bool:
    """Whether a card may give the unit for the channel as it stands."""
    return any(reads_as(unit, kind) for kind in kinds_of(channel))


def in_si(value: float, unit: str, kind: str) -> float:
    """The value in SI; NaN where the unit is none of the kind."""
    try:
        factor, offset = scale_offset(unit, kind)
    except ValueError:
        return float("nan")
    return value * factor + offset


def fitting(kind: str, low: float, high: float) -> list[str]:
    """Units of a kind in which values from low to high make sense, the usual one first."""
    least, most = SENSE[kind]
    found = [
        u
        for u in UNITS.get(kind, ())
        if u not in ("Pa", "rev/s", "deg/s") and least <= in_si(low, u, kind) and in_si(high, u, kind) <= most
    ]
    return sorted(found, key=lambda unit: unit != FIRST[kind])


def sensible(value: float, unit: str, kind: str) -> bool:
    """Whether a value in a unit is one that the quantity may have."""
    least, most = SENSE.get(kind, (float("-inf"), float("inf")))
    return least <= in_si(value, unit, kind) <= most
