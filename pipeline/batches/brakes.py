"""Cards of one compound that say different things of the brake.

A compound is compared over tests of one brake as a rule. Where the cards differ in what mu, energy or wear are
computed with, one of them may be wrong, and a wrong piston looks like another material: mu = T / (2 eta (p - p0) A
r). The recordings cannot tell which card is right. So the values are read twice, as stated and with the brake that
most of the cards state:

    mu with the usual brake = mu as stated * k / k_usual,   k = eta (p - p0) A r

with p the test's own median pressure. An answer that both readings give stands; else the cards decide it and not the
material.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.archive.card import Card
from pipeline.results.cards import CardDifference, CardValue
from pipeline.stops.radius import effective_radius

SAME = 1e-6  # relative: what two spellings of one value may differ by

# field -> the numbers that are computed with it
ENTERS: dict[str, tuple[str, ...]] = {
    "pistons_per_side": ("mu",),
    "effective_radius": ("mu", "sliding distance"),
    "efficiency": ("mu",),
    "threshold_pressure": ("mu",),
    "pads": ("energy density", "wear"),
    "pad_area": ("energy density", "wear"),
    "friction_ring": ("wear",),
    "inertia": ("energy balance",),
    "inertia_mechanical": ("energy balance",),
    "disc mass": ("wear", "temperatures"),
    "disc thickness": ("wear", "temperatures"),
    "disc density": ("wear",),
    "disc heat_capacity": ("wear", "temperatures"),
    "disc conductivity": ("wear", "temperatures"),
    "disc heat_share": ("wear", "temperatures"),
    "disc minimum_thickness": ("life",),
    "pad density": ("wear",),
    "pad minimum_thickness": ("life",),
}


@dataclass(frozen=True)
class Brake:
    """What a card says of the brake: shown by field, and the figures that mu is computed with, SI."""

    shown: Mapping[str, str]
    area: float
    radius: float
    efficiency: float
    threshold: float

    def clamp(self, pressure: float) -> float:
        """eta (p - p0) A r, N m per unit of 2 mu."""
        return self.efficiency * max(pressure - self.threshold, 0.0) * self.area * self.radius


def brake_of(card: Card, rule: str) -> Brake:
    """The card's brake; `rule` gives the radius where the card states none."""
    brake, disc, pad = card.brake, card.brake.disc, card.brake.pad
    ring = brake.friction_ring
    radius = brake.effective_radius
    if radius is None:
        radius = effective_radius(ring.outer_diameter, ring.inner_diameter, rule) if ring else float("nan")
    shown = {
        "pistons_per_side": "/".join(f"{d * 1e3:.4g}" for d in sorted(brake.pistons_per_side)) + " mm",
        "effective_radius": f"{radius * 1e3:.4g} mm",
        "efficiency": f"{brake.efficiency:.4g}",
        "threshold_pressure": f"{brake.threshold_pressure / 1e5:.4g} bar",
        "pads": str(brake.pads),
        "pad_area": _shown(brake.pad_area, 1e4, "cm²"),
        "friction_ring": f"{ring.outer_diameter * 1e3:.4g}/{ring.inner_diameter * 1e3:.4g} mm" if ring else "not given",
        "inertia": _shown(card.inertia, 1.0, "kg m²"),
        "inertia_mechanical": _shown(card.inertia_mechanical, 1.0, "kg m²"),
        "disc mass": _shown(disc.mass, 1.0, "kg"),
        "disc thickness": _shown(disc.thickness, 1e3, "mm"),
        "disc minimum_thickness": _shown(disc.minimum_thickness, 1e3, "mm"),
        "disc density": _shown(disc.density, 1.0, "kg/m³"),
        "disc heat_capacity": disc.heat_capacity
        if isinstance(disc.heat_capacity, str)
        else _shown(disc.heat_capacity, 1.0, "J/(kg K)"),
        "disc conductivity": _shown(disc.conductivity, 1.0, "W/(m K)"),
        "disc heat_share": _shown(disc.heat_share, 100.0, "%"),
        "pad density": _shown(pad.density, 1.0, "kg/m³"),
        "pad minimum_thickness": _shown(pad.minimum_thickness, 1e3, "mm"),
    }
    return Brake(shown, brake.piston_area, radius, brake.efficiency, brake.threshold_pressure)


def _shown(value: float | None, factor: float, unit: str) -> str:
    return "not given" if value is None else f"{value * factor:.5g} {unit}"


def differences(brakes: Mapping[str, Brake], enters: Iterable[str] = ()) -> list[CardDifference]:
    """Fields in which the tests' cards differ: field, enters, and which tests state which value, most first.

    enters: only fields that enter one of these numbers; all where none is named.
    """
    wanted, found = set(enters), []
    for field, numbers in ENTERS.items():
        if wanted and not wanted & set(numbers):
            continue
        tests: dict[str, list[str]] = {}
        for test in sorted(brakes):
            tests.setdefault(brakes[test].shown[field], []).append(test)
        if len(tests) > 1:
            values = [CardValue(value=value, tests=names) for value, names in sorted(tests.items(), key=_most_first)]
            found.append(CardDifference(field=field, enters=list(numbers), values=values))
    return found


def _most_first(item: tuple[str, list[str]]) -> tuple[int, list[str]]:
    return -len(item[1]), item[1]


def words(differences: Sequence[CardDifference]) -> str:
    """The differences in one line: fields, values, tests, and which numbers they enter."""
    parts = []
    for item in differences:
        values = [f"{one.value} ({_listed(one.tests)})" for one in item.values]
        parts.append(f"{item.field.replace('_', ' ')}: {', '.join(values)}")
    entered = list(dict.fromkeys(number for item in differences for number in item.enters))
    return f"the cards differ in {'; '.join(parts)}; it enters {', '.join(entered)}" if parts else ""


def _listed(tests: Sequence[str]) -> str:
    return ", ".join(tests) if len(tests) <= 4 else f"{', '.join(tests[:3])} and {len(tests) - 3} more"


def usual_brake(brakes: Mapping[str, Brake]) -> Callable[[str, float], float]:
    """(test, median pressure in Pa) -> factor that brings the test's mu to the brake most cards state, field by field.

    Of equally many the first test's by name.
    """
    names = ("area", "radius", "efficiency", "threshold")
    usual: dict[str, float] = {}
    for name in names:
        values = [round(getattr(brakes[test], name), 12) for test in sorted(brakes)]
        usual[name] = Counter(values).most_common(1)[0][0] if values else float("nan")
    reference = Brake({}, usual["area"], usual["radius"], usual["efficiency"], usual["threshold"])

    def factor(test: str, pressure: float) -> float:
        own = brakes.get(test)
        if own is None or not pressure > 0:
            return 1.0
        ratio = own.clamp(pressure) / reference.clamp(pressure) if reference.clamp(pressure) > 0 else np.nan
        return float(ratio) if np.isfinite(ratio) and abs(ratio - 1) > SAME else 1.0

    return factor
