"""Invented test programs with a known wear law: histories in fine steps, true losses, readings with noise.

True losses are integrated here over the fine histories, not by the code under test.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.heat.capacity import heated
from pipeline.results.wear import FittedLaw
from pipeline.wear.components import Component
from pipeline.wear.exposure import Exposure, exposure, interval_groups, residence
from pipeline.wear.intervals import Intervals, intervals
from pipeline.wear.laws import Constants
from pipeline.wear.readings import SCHEMA
from tests.heat.exact import rise_falling

GAS_CONSTANT = 8.314462618
RING_AREA, PADS_AREA, DISC_MASS = 0.0355, 0.0104, 1.7
AMBIENT_K, TH0_K = 295.0, 873.15
DISC = Component("disc", 2, RING_AREA, 1.0, 1780.0, 0.028, 0.024)
CONSTANTS = Constants(TH0_K, 1.0, DISC.distance_factor)


@dataclass(frozen=True)
class Block:
    """One block of stops alike, with a wear reading after it: degC, kJ, W/mm2 of the pads, mu, s of cooling after a stop."""

    initial_c: float
    stops: int = 18
    energy_kj: float = 220.0
    power_w_mm2: float = 7.0
    mu: float = 0.42
    dwell_s: float = 40.0


# Temperature, power and friction are varied so that no two of the laws' terms go together.
WIDE = (
    Block(90, power_w_mm2=5, mu=0.20),
    Block(150, power_w_mm2=11, mu=0.28),
    Block(240, power_w_mm2=4, mu=0.45),
    Block(300, power_w_mm2=12, mu=0.46),
    Block(400, power_w_mm2=5, mu=0.45),
    Block(500, power_w_mm2=10, mu=0.40),
    Block(570, power_w_mm2=6, mu=0.36),
    Block(620, power_w_mm2=9, mu=0.33),
    Block(670, power_w_mm2=7, mu=0.30),
)
ONE_TEMPERATURE = tuple(
    Block(310 + d, power_w_mm2=7 + p) for d, p in ((0, 0), (4, 1), (-3, -1), (2, 1), (-2, 0), (5, -1))
)
TWO_INTERVALS = (Block(300), Block(600))


@dataclass(frozen=True)
class Program:
    """stops: Exposure; after: stops run at each reading; time, kelvin [stops, n]: the surface's fine history, braking then
    cooling; duration [stops]."""

    stops: Exposure
    after: np.ndarray
    time: np.ndarray
    kelvin: np.ndarray
    duration: np.ndarray


def program(blocks: tuple[Block, ...], rng: np.random.Generator) -> Program:
    """Run the blocks once, each stop a few per cent different."""
    each = [block for block in blocks for _ in range(block.stops)]
    n = len(each)
    energy = np.array([b.energy_kj for b in each]) * 1e3 * rng.normal(1, 0.03, n)
    power = np.array([b.power_w_mm2 for b in each]) * 1e6 * PADS_AREA * rng.normal(1, 0.03, n)
    start = np.array([b.initial_c for b in each]) + 273.15 + rng.normal(0, 4, n)
    dwell = np.array([b.dwell_s for b in each]) * rng.normal(1, 0.05, n)
    mu = np.array([b.mu for b in each]) * rng.normal(1, 0.015, n)
    duration = energy / power
    time, kelvin = _history(start, energy, duration, dwell)
    braking = time <= duration[:, None] + 1e-12
    last = braking & ~np.roll(braking, -1, axis=1)
    stops = exposure(
        energy / 1e6,
        force_distance_n_m=energy / (2 * mu),
        power_w_mm2=power / PADS_AREA / 1e6,
        temperature_c=start - 273.15,
        braking_s=residence(time, np.where(braking, kelvin, np.nan)),
        dwell_s=residence(time, np.where(braking & ~last, np.nan, kelvin)),
    )
    after = np.concatenate([[0], np.cumsum([b.stops for b in blocks])])
    return Program(stops, after, time, kelvin, duration)


def _history(start, energy, duration, dwell) -> tuple[np.ndarray, np.ndarray]:
    """Surface temperature: an even disc heated through the stop, cooling after it, a half space's excess on top."""
    braking = duration[:, None] * np.linspace(0, 1, 60)
    cooling = duration[:, None] + dwell[:, None] * np.geomspace(1e-3, 1, 120)
    time = np.concatenate([braking, cooling], axis=1)
    share = np.clip(time / duration[:, None], 0, 1)
    end = heated(start, energy / DISC_MASS, "carbon")
    bulk = start[:, None] + (end - start)[:, None] * (2 * share - share**2)
    since = np.maximum(time - duration[:, None], 0)
    bulk = AMBIENT_K + (bulk - AMBIENT_K) * np.exp(-since / 150.0)
    flux = 2 * energy / duration / (2 * RING_AREA)
    excess = rise_falling(time, flux[:, None], duration[:, None], 7000.0) * np.exp(-since / 3.0)
    return time, bulk + excess


def true_loss(law: str, parameters: dict[str, float], made: Program) -> np.ndarray:
    """Loss of each stop in um by a law, integrated over the fine history."""
    s = made.stops
    if law == "energy":
        return parameters["a"] * s.energy_mj
    if law == "distance":
        return parameters["k"] * s.force_distance_n_m * 2e3 / (RING_AREA * 1e6)
    if law == "power":
        return parameters["a"] * s.energy_mj * s.power_w_mm2 ** parameters["b"]
    if law == "two_regime":
        cold = s.temperature_c < parameters["transition"]
        return np.where(cold, parameters["a_cold"], parameters["a_hot"]) * s.energy_mj
    return parameters["a"] * s.energy_mj + parameters["B"] * oxidation_time(parameters["Ea"], made)


def oxidation_time(activation: float, made: Program) -> np.ndarray:
    """Seconds at th0 that oxidise as much as each stop's history does."""
    rate = np.exp(-activation * 1e3 / GAS_CONSTANT * (1 / made.kelvin - 1 / TH0_K))
    return np.trapezoid(rate, made.time, axis=1)


def oxidation_parameters(made: Program, *, activation: float, share: float, a: float = 7.0) -> dict[str, float]:
    """Parameters whose oxidation is `share` of the program's whole loss."""
    mechanical = a * made.stops.energy_mj.sum()
    return {"a": a, "B": share / (1 - share) * mechanical / oxidation_time(activation, made).sum(), "Ea": activation}


def readings(loss: np.ndarray, after: np.ndarray, rng: np.random.Generator, *, noise_um=3.0, points=6, repeats=2):
    """A table as read_wear returns it: thickness of a disc at each reading, several points and repeats."""
    gone = np.concatenate([[0.0], np.cumsum(loss)])[after]
    place = rng.normal(0, 10, points)
    rows = [
        (line, int(stop), "disc", "thickness", str(p + 1), None, (28000 - lost + place[p] + rng.normal(0, noise_um)) * 1e-6, 1e-7)
        for line, (stop, lost, p) in enumerate(
            (stop, lost, p) for stop, lost in zip(after, gone, strict=True) for p in range(points) for _ in range(repeats)
        )
    ]  # fmt: skip
    return pl.DataFrame(rows, schema=SCHEMA, orient="row")


def measured(loss: np.ndarray, made: Program, rng: np.random.Generator, **noise) -> tuple[Intervals, np.ndarray]:
    """(intervals of the readings, their groups of stops)."""
    table = readings(loss, made.after, rng, **noise)
    found = intervals(table, DISC, assumed_thickness=3e-6, assumed_mass=5e-5, last_stop=len(loss))
    assert found is not None
    return found, interval_groups(np.arange(1, len(loss) + 1), found.from_stop, found.to_stop)


def card_content(*, pads="2", blocks=None, wear="wear.csv") -> dict:
    """A test card as read from YAML (every scalar text), of the disc above."""
    channels = {
        "time": ("t", "s"),
        "speed": ("n", "rpm"),
        "torque": ("M", "N m"),
        "pressure": ("p", "bar"),
        "disc_temperature": ("T", "degC"),
    }
    return {
        "schema": "1", "compound": "Marram 4", "batch": "M4-2406", "specimen": "A", "date": "2026-03-02", "rig": "north",
        "brake": {
            "friction_ring": {"outer_diameter": "312 mm", "inner_diameter": "220 mm"}, "effective_radius": "134 mm",
            "pistons_per_side": ["30 mm", "34 mm", "38 mm"], "pad_area": "52 cm^2", "pads": pads, "threshold_pressure": "0.4 bar",
            "disc": {"mass": "1.7 kg", "thickness": "28 mm", "minimum_thickness": "24 mm", "density": "1.78 g/cm^3",
                     "heat_capacity": "carbon", "conductivity": "30 W/(m K)", "heat_share": "100 %"},
            "pad": {"mass": "0.22 kg", "thickness": "24 mm", "minimum_thickness": "10 mm", "density": "1.78 g/cm^3"},
        },
        "inertia": "22 kg m^2",
        "recordings": {"files": "recordings/*.csv",
                       "channels": {name: {"column": c, "unit": u} for name, (c, u) in channels.items()}},
        "blocks": blocks or [
            {"name": "bed-in", "purpose": "bedding", "kind": "snub", "stops": "20", "speed": ["1500 rpm", "500 rpm"],
             "pressure": "40 bar", "initial_temperature": "250 degC"},
            {"name": "map 1", "purpose": "map", "kind": "snub", "stops": "40", "speed": ["1500 rpm", "500 rpm"],
             "pressure": "40 bar", "initial_temperature": "300 degC"}],
        "wear": wear,
    }  # fmt: skip


def fitted_law(content: dict) -> FittedLaw:
    """An entry of `models`, identified where the content does not say otherwise, from what a test is about."""
    parameters = {name: {"unit": "1"} | parameter for name, parameter in content["parameters"].items()}
    return FittedLaw.model_validate({"identified": True, "effective": False} | content | {"parameters": parameters})
