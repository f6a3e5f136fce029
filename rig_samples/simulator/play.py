"""Plays a program: stop after stop on one specimen and one clock, whichever way a stop is simulated."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Generic, Protocol, TypeVar

import numpy as np

from rig_samples.simulator.brake import RPM, Brake, Rig
from rig_samples.simulator.braking import KELVIN, Demand
from rig_samples.simulator.disc import MODES, Disc
from rig_samples.simulator.dwell import Dwell, dwell
from rig_samples.simulator.material import Material, Surface
from rig_samples.simulator.program import Block

READING_PAUSE_S = 5.0 * 3600.0


class Outcome(Protocol):
    """What a brake application leaves behind."""

    @property
    def surface(self) -> Surface: ...
    @property
    def disc_k(self) -> float: ...
    @property
    def modes(self) -> np.ndarray: ...
    @property
    def oxidation_um(self) -> float: ...
    @property
    def ended_s(self) -> float: ...


Done = TypeVar("Done", bound=Outcome)
Braking = Callable[[Demand, Surface, float, Material, Brake, Rig, Disc, float, np.random.Generator, float], Done]


@dataclass(frozen=True)
class Played(Generic[Done]):
    """One application of the program, in its place."""

    number: int
    block: Block
    demand: Demand
    rest: Dwell
    before: Surface
    factor: float
    commanded: float
    done: Done
    reading: bool  # wear is measured after it
    oxidation_before_um: float  # in the dwell before it, since the last reading
    oxidation_after_um: float  # in the cooling before the reading after it


def disc_of(brake: Brake, material: Material, disc: Disc | None = None) -> Disc:
    """The disc as the brake and the compound make it."""
    return replace(
        disc or Disc(),
        mass=brake.disc_mass_kg,
        thickness=brake.disc_thickness_mm * 1e-3,
        density=material.density_kg_m3,
        conductivity=material.conductivity_w_mk,
        ring_area=brake.ring_area,
    )


def demand_of(block: Block, rig: Rig, rng: np.random.Generator, abort_after: float | None = None) -> Demand:
    """One application of a block, with the scatter of the rig's control."""
    wanted = {"pressure": block.pressure, "torque": block.torque, "deceleration": block.deceleration}
    start = (block.speed[0] + rng.normal(0.0, rig.speed_scatter_rpm)) * RPM
    end = start if block.kind == "drag" else block.speed[1] * RPM
    level = float(wanted[block.control] or 0.0) * (1.0 + rng.normal(0.0, rig.level_scatter))
    return Demand(block.kind, start, end, block.control, level, block.duration, abort_after)


def mu_factors(stops: int, rig: Rig, rng: np.random.Generator) -> np.ndarray:
    """Stop-to-stop factor of mu, an AR(1) series about 1."""
    noise = rng.normal(0.0, rig.scatter, stops)
    keep = rig.scatter_correlation
    out, state = np.empty(stops), 0.0
    for i in range(stops):
        state = noise[0] if i == 0 else keep * state + np.sqrt(1.0 - keep**2) * noise[i]
        out[i] = 1.0 + state
    return out


def play(
    braking: Braking[Done],
    program: list[Block],
    material: Material,
    brake: Brake,
    rig: Rig,
    disc: Disc,
    surface: Surface,
    rng: np.random.Generator,
    aborted: dict[int, float],
    lasting: dict[int, float],
) -> Iterator[Played[Done]]:
    """Every application of the program in turn, from a disc at ambient temperature."""
    plan = [(block, k) for block in program for k in range(block.stops)]
    factors = mu_factors(len(plan), rig, rng)
    for first, factor in lasting.items():
        factors[first - 1 :] *= factor
    disc_k, modes, state = disc.ambient, np.zeros(MODES), surface
    ended, commanded, after_reading = 0.0, 0.0, False
    for number, (block, k) in enumerate(plan, start=1):
        target: float | None = block.initial + KELVIN + rng.normal(0.0, rig.start_scatter_k)
        seconds = None
        if block.interval is not None and k > 0:
            seconds, target = max(block.interval - (ended - commanded), 3.0), None
        pause = (block.pause_before or 0.0) if k == 0 else 0.0
        pause = max(pause, READING_PAUSE_S) if after_reading else pause
        rest = dwell(disc_k, modes, state.moisture, disc, material, rig, target, seconds, pause)
        commanded = round(ended + rest.seconds, 2)
        demand = demand_of(block, rig, rng, aborted.get(number))
        before = replace(state, moisture=rest.moisture)
        mu_factor = float(factors[number - 1])
        done = braking(demand, before, rest.disc_k, material, brake, rig, disc, mu_factor, rng, rest.falling_k_s)
        state, disc_k, modes = done.surface, done.disc_k, done.modes
        ended = round(commanded + done.ended_s, 2)
        charged = 0.0 if after_reading else rest.oxidation_um
        after_reading = block.reading and k == block.stops - 1
        cooling = 0.0
        if after_reading:
            cooling = dwell(disc_k, modes, 0.0, disc, material, rig, None, None, READING_PAUSE_S).oxidation_um
        yield Played(number, block, demand, rest, before, mu_factor, commanded, done, after_reading, charged, cooling)
