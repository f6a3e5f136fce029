"""Windows at other pressures and energy densities than the reference's, inside what was run.

Given are the corners of the design: of the conditions run, those of lowest and highest pressure with lowest and highest
energy density, each over the temperatures of its own stops. A target may ask for one more (`at`), which need not have been run
itself: a temperature supports it where stops from around that temperature enclose it in pressure and energy density. Speed
goes with the energy density where the design moved them together, else it is the reference's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.friction import effects
from pipeline.friction.cells import ALIKE
from pipeline.friction.map import FrictionMap
from pipeline.friction.support import MARGIN, Support

GRID_K = 5.0
ZERO_C = 273.15
FEWEST_STOPS, FEWEST_K = 6, 60.0
PRESSURE, SPEED, ENERGY = (effects.NAMES.index(name) for name in ("pressure", "speed", "energy"))


@dataclass(frozen=True)
class Place:
    """Conditions of a window: Pa, rad/s, J/m2, and the temperatures (K) that support it; none, with `why`."""

    pressure: float
    speed: float
    energy_density: float
    stretches: tuple[tuple[float, float], ...] = ()
    why: str | None = None
    asked: bool = False


def conditions(map_: FrictionMap) -> list[np.ndarray]:
    """The stops (n,) of each pressure, speed and energy density run."""
    logs = map_.logs
    middles: list[np.ndarray] = []
    for row in logs:
        if not any((np.abs(row - known) <= ALIKE[1:]).all() for known in middles):
            middles.append(row)
    return [(np.abs(logs - middle) <= ALIKE[1:]).all(axis=1) for middle in middles]


def why_no_corner(map_: FrictionMap) -> str:
    """Why `corners` has none, with the conditions beside the reference's that have the most stops."""
    reference, medians = map_.reference, [(np.median(map_.logs[own], axis=0), own) for own in conditions(map_)]
    beside = [PRESSURE, ENERGY]
    others = [(middle, own) for middle, own in medians if (np.abs(middle) > ALIKE[1:])[beside].any()]
    if not others:
        return "no other pressure or energy density than the reference's was run"
    middle, own = max(others, key=lambda other: other[1].sum())
    t = map_.own_temperature[own] - ZERO_C
    at = [
        f"{value:.3g} {unit}"
        for name, value, unit in (
            ("pressure", reference.pressure * np.exp(middle[PRESSURE]) / 1e5, "bar"),
            ("energy", reference.energy_density * np.exp(middle[ENERGY]) / 1e6, "J/mm2"),
        )
        if name not in map_.missing
    ]
    return (
        f"no pressure and energy density but the reference's has {FEWEST_STOPS} stops over an unbroken {FEWEST_K:.0f} K; "
        f"the most stops of another are {own.sum()} at {' and '.join(at)}, {t.min():.0f} to {t.max():.0f} C"
    )


def corners(map_: FrictionMap) -> list[Place]:
    """The corners of the conditions run but for the reference's own; at most four."""
    logs, reference = map_.logs, map_.reference
    found: list[Place] = []
    enough = []
    for own in conditions(map_):
        t = np.sort(map_.own_temperature[own])
        stretches = tuple(Support(t, logs[own], map_.support.gap).stretches())
        if t.size >= FEWEST_STOPS and max((b - a for a, b in stretches), default=0.0) >= FEWEST_K:
            enough.append((np.median(logs[own], axis=0), stretches))
    if not enough:
        return []
    middles = np.array([middle for middle, _ in enough])
    spread = np.maximum(np.ptp(middles, axis=0), 1e-9)
    for hard in (-1.0, 1.0):
        for pressed in (-1.0, 1.0):
            far = pressed * middles[:, PRESSURE] / spread[PRESSURE] + hard * middles[:, ENERGY] / spread[ENERGY]
            middle, stretches = enough[int(far.argmax())]
            place = Place(
                reference.pressure * np.exp(middle[PRESSURE]),
                reference.speed * np.exp(middle[SPEED]),
                reference.energy_density * np.exp(middle[ENERGY]),
                stretches,
            )
            if (np.abs(middle) > ALIKE[1:]).any() and place not in found:
                found.append(place)
    return found


def asked(map_: FrictionMap, pressure: float, energy_density: float) -> Place:
    """The place that a target asks for (Pa, J/m2), refused with the reason where it lies outside what was run."""
    reference, logs = map_.reference, map_.logs
    missing = [effects.WORDS[name] for name in ("pressure", "energy") if name in map_.missing]
    wanted = np.array([np.log(pressure / reference.pressure), 0.0, np.log(energy_density / reference.energy_density)])
    tied = ("energy", "speed") in map_.choice.tied
    if tied:
        wanted[SPEED] = np.polyval(effects.tie(logs[:, ENERGY], logs[:, SPEED]), wanted[ENERGY])
    speed = reference.speed * float(np.exp(wanted[SPEED]))
    refused = Place(pressure, speed, energy_density, asked=True)
    if missing:
        return Place(**{**vars(refused), "why": f"{' and '.join(missing)} not recorded"})
    for at, given, unit, base in (
        (PRESSURE, pressure / 1e5, "bar", reference.pressure / 1e5),
        (ENERGY, energy_density / 1e6, "J/mm2", reference.energy_density / 1e6),
    ):
        low, high = base * np.exp(logs[:, at].min()), base * np.exp(logs[:, at].max())
        spare = max(MARGIN * (high - low), 0.02 * base)
        if not low - spare <= given <= high + spare:
            name = effects.WORDS[effects.NAMES[at]]
            why = f"{name} {given:.3g} {unit} is outside what was run ({low:.3g} to {high:.3g} {unit})"
            return Place(**{**vars(refused), "why": why})
    stretches = enclosed(map_, wanted, any_speed=tied or "speed" in map_.missing)
    if not stretches:
        why = "no temperature has stops around it that enclose this pressure and energy density"
        return Place(**{**vars(refused), "why": why})
    return Place(**{**vars(refused), "stretches": stretches})


def enclosed(map_: FrictionMap, wanted: np.ndarray, *, any_speed: bool) -> tuple[tuple[float, float], ...]:
    """Unbroken temperatures (K) at which stops within half the largest gap enclose `wanted`, logs of the three conditions."""
    spread = np.maximum(np.ptp(map_.logs, axis=0), ALIKE[1:])
    away = (map_.logs - wanted) / spread
    away = np.where(any_speed & (np.arange(3) == SPEED), 0.0, away)
    found: list[tuple[float, float]] = []
    for low, high in map_.support.stretches():
        grid = np.r_[np.arange(low, high, GRID_K), high]
        good = [
            bool(t) for t in (encloses(away[np.abs(map_.own_temperature - t) <= map_.support.gap / 2]) for t in grid)
        ]
        edges = np.flatnonzero(np.diff(np.r_[0, np.array(good, int), 0]))
        found += [(float(grid[a]), float(grid[b])) for a, b in zip(edges[::2], edges[1::2] - 1, strict=True) if b > a]
    return tuple(found)


def encloses(away: np.ndarray) -> bool:
    """Whether the stops, `away` from the place in shares of the ranges run (n, 3), lie on it or on all sides of it in pressure
    and energy density. On all sides: no half plane holds them all, so no angle between neighbours reaches pi."""
    if away.size == 0 or np.abs(away[:, SPEED]).min() > 2 * MARGIN:
        return False
    plane = away[:, [PRESSURE, ENERGY]]
    if (np.abs(plane) <= MARGIN).all(axis=1).any():
        return True
    angles = np.sort(np.arctan2(plane[:, 1], plane[:, 0]))
    if angles.size < 2:
        return False
    widest = max(float(np.diff(angles).max()), float(angles[0] + 2 * np.pi - angles[-1]))
    return widest <= np.pi + 2 * MARGIN
