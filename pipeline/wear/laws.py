"""The wear laws: thickness loss of a stop as a sum of a few positive terms.

    energy       a E
    distance     k F s x faces x force share / A
    power        a E (P/P0)^b
    oxidation    a E + integral of B exp(-(Ea/R)(1/th - 1/th0)) dt over braking and dwell
    two_regime   a_cold E below a transition temperature, a_hot E from it on

Each is linear in its rates (never negative) and has at most one further parameter, its shape. `columns` gives the
terms for rates of one (`terms` at many shapes at once). Loss in um; E in MJ of the brake's friction work; B in um/s
at th0; Ea in kJ/mol; k in mm^3/(N m).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np

from pipeline.constants import Array, Values
from pipeline.heat.propagation import bend
from pipeline.results.sources import InputName
from pipeline.results.wear import Part
from pipeline.wear.exposure import GRID_K, Exposure, summed

GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA 2018
WARMTH_EA = np.linspace(20.0, 400.0, 48)  # kJ/mol
PARTS: dict[str, tuple[Part, ...]] = {"oxidation": ("mechanical", "oxidative"), "two_regime": ("cold", "hot")}


@dataclass(frozen=True)
class Constants:
    """What the laws hold fixed: th0 in K, P0 in W/mm^2, and the component's um per unit of k F s."""

    th0_k: float = 873.15
    p0_w_mm2: float = 1.0
    distance_factor: float = float("nan")


@dataclass(frozen=True)
class Law:
    """rates and shape as (name, unit); limits of the shape; terms(stops, shapes [s], constants) -> [s, n, rates];
    additive: sums over stops can be taken before the law (it does not look at single stops)."""

    name: str
    rates: tuple[tuple[str, str], ...]
    terms: Callable[[Exposure, np.ndarray, Constants], np.ndarray]
    shape: tuple[str, str] | None = None
    limits: tuple[float, float] = (0.0, 0.0)
    additive: bool = True

    @property
    def parts(self) -> tuple[Part, ...]:
        """What part of the loss each rate makes."""
        return PARTS.get(self.name, ("mechanical",))

    @property
    def parameters(self) -> tuple[tuple[str, str], ...]:
        return self.rates + ((self.shape,) if self.shape else ())

    def columns(self, stops: Exposure, shape: float, constants: Constants) -> np.ndarray:
        """The terms at one shape: [n, rates]."""
        return self.terms(stops, np.array([shape]), constants)[0]


def _energy(stops: Exposure, values: np.ndarray, _constants: Constants) -> np.ndarray:
    return np.broadcast_to(stops.energy_mj[None, :, None], (len(values), len(stops), 1))


def _distance(stops: Exposure, values: np.ndarray, constants: Constants) -> np.ndarray:
    path = stops.force_distance_n_m * constants.distance_factor
    return np.broadcast_to(path[None, :, None], (len(values), len(stops), 1))


def _power(stops: Exposure, values: np.ndarray, constants: Constants) -> np.ndarray:
    ratio = np.maximum(stops.power_w_mm2 / constants.p0_w_mm2, 1e-9)
    return (stops.energy_mj * ratio ** values[:, None])[:, :, None]


def arrhenius(temperature: Values, activation_kj_mol: Values, th0_k: float) -> Array:
    """exp(-(Ea/R)(1/th - 1/th0)): the rate at temperatures in K over the rate at th0. Broadcasts."""
    return np.exp(-(activation_kj_mol * 1e3 / GAS_CONSTANT) * (1 / np.asarray(temperature, float) - 1 / th0_k))


@lru_cache(maxsize=64)
def _rates(activation_kj_mol: bytes, th0_k: float) -> Array:
    """`arrhenius` [values, G] over the grid, values given by their bytes: a law's draws are asked for again at every opening of
    every duty."""
    found = arrhenius(GRID_K, np.frombuffer(activation_kj_mol)[:, None], th0_k)
    found.flags.writeable = False
    return found


def _oxidation(stops: Exposure, values: np.ndarray, constants: Constants) -> np.ndarray:
    rate = _rates(np.asarray(values, float).tobytes(), constants.th0_k)
    oxidised = rate @ (stops.braking_s + stops.dwell_s).T
    return np.stack([np.broadcast_to(stops.energy_mj, oxidised.shape), oxidised], axis=2)


def _two_regime(stops: Exposure, values: np.ndarray, _constants: Constants) -> np.ndarray:
    cold = stops.temperature_c < values[:, None]
    return np.stack([stops.energy_mj * cold, stops.energy_mj * ~cold], axis=2)


LAWS: dict[str, Law] = {
    law.name: law
    for law in (
        Law("energy", (("a", "um/MJ"),), _energy),
        Law("distance", (("k", "mm3/(N m)"),), _distance),
        Law("power", (("a", "um/MJ"),), _power, ("b", "1"), (-3.0, 5.0), additive=False),
        Law("oxidation", (("a", "um/MJ"), ("B", "um/s")), _oxidation, ("Ea", "kJ/mol"), (20.0, 400.0)),
        Law(
            "two_regime",
            (("a_cold", "um/MJ"), ("a_hot", "um/MJ")),
            _two_regime,
            ("transition", "degC"),
            (-50.0, 2000.0),
            additive=False,
        ),
    )
}


@dataclass(frozen=True)
class Warmth:
    """How the oxidation of intervals answers to heat inputs: ln of the term moves by b z + c z^2 with each input.

    names: inputs [i]; b, c: [i, G, K] at the activation energies WARMTH_EA; z: [i], the setting that the terms are at.
    """

    names: tuple[InputName, ...]
    b: Array
    c: Array
    z: Array

    @cached_property
    def moved(self) -> Array:
        """What the setting adds to the logarithms [G, K]."""
        return self.at(self.z[None])[0]

    def at(self, z: Array) -> Array:
        """The same at settings [d, i]: [d, G, K]."""
        return np.asarray(np.einsum("di,igk->dgk", z, self.b) + np.einsum("di,igk->dgk", z**2, self.c))


def between_energies(table: Array, values: Array) -> Array:
    """A table [..., G, K] over WARMTH_EA at activation energies [s]: [..., s, K]."""
    place = np.clip((values - WARMTH_EA[0]) / (WARMTH_EA[1] - WARMTH_EA[0]), 0, WARMTH_EA.size - 1.000001)
    low = place.astype(int)
    part = (place - low)[:, None]
    return np.asarray(table[..., low, :] * (1 - part) + table[..., low + 1, :] * part)


def warmth_of(sums: Exposure) -> Warmth | None:
    """Of intervals by their nodes; at the inputs' own values. None without nodes."""
    if not sums.nodes:
        return None
    at = _log_oxidised(sums)
    bends = [bend(at, _log_oxidised(low), _log_oxidised(high)) for low, high in sums.nodes.values()]
    b, c = (np.array(part) for part in zip(*bends, strict=True))
    return Warmth(tuple(sums.nodes), b, c, np.zeros(len(sums.nodes)))


def _log_oxidised(stops: Exposure) -> Array:
    rate = arrhenius(GRID_K, WARMTH_EA[:, None], Constants.th0_k)
    return np.asarray(np.log(np.maximum(rate @ (stops.braking_s + stops.dwell_s).T, 1e-300)))


@dataclass(frozen=True)
class Design:
    """Stops grouped into intervals [intervals, stops], ready for `totals`."""

    stops: Exposure
    groups: np.ndarray
    sums: Exposure
    warmth: Warmth | None = None

    def grouped(self, sums: np.ndarray) -> Design:
        """Sums of the intervals [g, intervals]; what heat inputs do to a sum they do to its intervals as these weigh in it."""
        made = Design(self.stops, sums @ self.groups, summed(self.sums, sums))
        if self.warmth is None or not self.warmth.z.any():
            return made
        own = np.exp(_log_oxidised(self.sums))
        whole = np.maximum(own @ sums.T, 1e-300)
        moved = np.log(np.maximum((own * np.exp(self.warmth.moved)) @ sums.T, 1e-300) / whole)
        return replace(made, warmth=Warmth(self.warmth.names[:1], moved[None], np.zeros((1, *moved.shape)), np.ones(1)))


def design(stops: Exposure, groups: np.ndarray) -> Design:
    """Stops put together as intervals; groups: [intervals, stops], how much of each stop an interval holds."""
    sums = summed(stops, groups)
    return Design(stops, groups, sums, warmth_of(sums))


def totals(law: Law, intervals: Design, values: np.ndarray, constants: Constants) -> np.ndarray:
    """The law's terms per interval for rates of one at shapes [s]: [s, intervals, rates]."""
    if not law.additive:
        return intervals.groups @ law.terms(intervals.stops, values, constants)
    terms = law.terms(intervals.sums, values, constants)
    if law.name == "oxidation" and intervals.warmth is not None and intervals.warmth.z.any():
        terms[:, :, 1] *= np.exp(between_energies(intervals.warmth.moved, np.asarray(values, float)))
    return terms


def stop_wear(law: Law, stops: Exposure, parameters: np.ndarray, constants: Constants) -> np.ndarray:
    """Loss in um of each stop [n] for one parameter vector (rates, then shape)."""
    rates = np.asarray(parameters[: len(law.rates)], float)
    shape = float(parameters[-1]) if law.shape else 0.0
    return law.columns(stops, shape, constants) @ rates


def shapes(law: Law, stops: Exposure, count: int = 96) -> np.ndarray:
    """Values of the shape to search over: even inside its limits; for a transition, between the stops' temperatures."""
    if not law.shape:
        return np.zeros(1)
    if law.name != "two_regime":
        return np.linspace(*law.limits, count)
    levels = np.unique(stops.temperature_c[np.isfinite(stops.temperature_c)])
    middles = (levels[1:] + levels[:-1]) / 2
    if middles.size > count:
        middles = middles[np.linspace(0, middles.size - 1, count).astype(int)]
    return middles
