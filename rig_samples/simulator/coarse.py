"""One brake application in a few steps of speed: the fast path of studies over thousands of tests.

The build-up is one step with the impulse of the line's ramp, the window a dozen equal steps of speed, the
rest of the braking one more, and the line's fall after release a last one; each is taken twice (predictor and corrector) so that friction and surface
temperature agree. The work of a step is then exactly the change of kinetic energy less that of drag. The
slowest modes of the disc are kept, the others follow the flux at once.
"""

from dataclasses import dataclass
from math import cos, exp, log, pi
from typing import NamedTuple

import numpy as np

from rig_samples.simulator.brake import Brake, Rig
from rig_samples.simulator.braking import KELVIN, RELEASE_TIME, WELL_DEPTH, Demand, wanted_pressure
from rig_samples.simulator.disc import MODES, Disc, enthalpy, heat_capacity, heat_loss, temperature_of
from rig_samples.simulator.material import Material, Surface, aged, friction, oxidation_um_s
from rig_samples.simulator.truth import BITE_TIME, BUILD_UP, END_MARGIN

STEPS = 12
KEPT = 4
INSIDE = slice(1, STEPS + 1)  # the steps of the window
FALL = 3.5  # time constants of the line that the fall after release is given


class Step(NamedTuple):
    """Means over one step; rad/s, N m, bar, K."""

    seconds: float
    speed: float
    torque: float
    pressure: float
    mu: float
    face: float
    well: float  # at the step's end


@dataclass(frozen=True)
class CoarseApplication:
    """An application by steps and the state it leaves."""

    steps: list[Step]
    drag_work: float  # J
    surface: Surface
    disc_k: float
    modes: np.ndarray
    oxidation_um: float
    friction_work: float  # J
    speed_start: float
    speed_end: float
    ended_s: float


class Warmth(NamedTuple):
    """Temperature of the disc: J/kg, K and the modes kept."""

    heat: float
    bulk: float
    face: float
    modes: tuple[float, ...]


def build_up(rig: Rig, level: float) -> tuple[float, float]:
    """Seconds until the line is at 95 % of `level` bar, and the mean share of the level until then."""
    linear = max(level - rig.line_rate_bar_s * rig.line_time, 0.0)
    first = linear / rig.line_rate_bar_s
    left = level - linear
    second = rig.line_time * log(left / ((1.0 - BUILD_UP) * level))
    area = linear / 2.0 * first + level * second - rig.line_time * (left - (1.0 - BUILD_UP) * level)
    return first + second, area / (level * (first + second))


def warmed(disc: Disc, was: Warmth, power: float, dt: float) -> Warmth:
    """The disc after a step of constant power into it."""
    heat = was.heat + (power - heat_loss(disc, was.face)) * dt / disc.mass
    bulk = float(temperature_of(heat))
    capacity, depth = disc.density * heat_capacity(bulk), disc.thickness / 2.0
    flux = power / (2.0 * disc.ring_area)
    slowest = pi**2 * disc.conductivity / capacity / depth**2
    rest, modes = depth / (3.0 * disc.conductivity), []
    for n, mode in enumerate(was.modes, start=1):
        rate = n * n * slowest
        steady = 2.0 / (capacity * depth * rate)
        keep = exp(-rate * dt)
        modes.append(mode * keep + steady * flux * (1.0 - keep))
        rest -= steady
    return Warmth(heat, bulk, bulk + sum(modes) + rest * flux, tuple(modes))


class Phase(NamedTuple):
    """A step to come: of so many seconds, or until the shaft is at a speed (rad/s), with a share of the level."""

    seconds: float | None
    share: float = 1.0
    until: float = 0.0


def after_build_up(demand: Demand, ramp: float, start: float) -> list[Phase]:
    """The steps after a build-up of `ramp` seconds that left the shaft at `start`."""
    released = Phase(FALL * RELEASE_TIME, (1.0 - exp(-FALL)) / FALL)
    if demand.kind == "drag":
        return [Phase(((demand.duration or 10.0) - ramp) / STEPS)] * STEPS + [released]
    floor = min(demand.speed_end + END_MARGIN * demand.speed_start, start)
    falling = [Phase(None, 1.0, start + (floor - start) * (k + 1) / STEPS) for k in range(STEPS)]
    return [*falling, Phase(None, 1.0, demand.speed_end), *([released] if demand.speed_end > 0.0 else [])]


def coarse_once(
    demand: Demand,
    surface: Surface,
    disc_k: float,
    material: Material,
    brake: Brake,
    rig: Rig,
    disc: Disc,
    mu_factor: float,
    rng: np.random.Generator,
    falling_k_s: float = 0.0,
) -> CoarseApplication:
    """Simulate one application from a disc of even temperature; the last two are there for the interface's sake."""
    warmth = Warmth(float(enthalpy(disc_k)), disc_k, disc_k, (0.0,) * KEPT)
    shape = [cos(n * pi * WELL_DEPTH / (disc.thickness / 2.0)) for n in range(1, KEPT + 1)]
    steps: list[Step] = []
    speed, oxidised, drag_work = demand.speed_start, 0.0, 0.0
    mu = mu_factor * friction(material, surface, disc_k - KELVIN, 20.0, speed * brake.effective_radius_mm * 1e-3)
    ramp, share = build_up(rig, wanted_pressure(demand, brake, rig, mu, speed))
    phases: list[Phase] = [Phase(ramp, share)]
    while phases:
        phase = phases.pop(0)
        was, guess = warmth, warmth.face
        for _ in range(2):
            face = (was.face + guess) / 2.0
            pressure, mu, torque = grip(demand, surface, face, material, brake, rig, mu, mu_factor, speed)
            torque, pressure = torque * phase.share, pressure * phase.share
            dt, then = duration(demand, rig, torque, speed, phase)
            power = torque * (speed + then) / 2.0
            warmth = warmed(disc, was, power * material.heat_share, dt)
            guess = warmth.face
        if len(steps) == 0:
            phases = after_build_up(demand, ramp, then)
        face = (was.face + warmth.face) / 2.0
        well = warmth.bulk + sum(m * c for m, c in zip(warmth.modes, shape, strict=True))
        steps.append(Step(dt, (speed + then) / 2.0, torque, pressure, mu, face, well))
        surface = aged(material, surface, face - KELVIN, power, dt, brake.ring_area)
        oxidised += dt * oxidation_um_s(material, face)
        drag_work += rig.drag((speed + then) / 2.0) * (speed + then) / 2.0 * dt
        speed = then
    modes = np.concatenate([warmth.modes, np.zeros(MODES - KEPT)])
    work, seconds = sum(s.torque * s.speed * s.seconds for s in steps), sum(s.seconds for s in steps)
    return CoarseApplication(
        steps, drag_work, surface, warmth.bulk, modes, oxidised, work, demand.speed_start, speed, seconds
    )


def grip(
    demand: Demand,
    surface: Surface,
    face: float,
    material: Material,
    brake: Brake,
    rig: Rig,
    mu: float,
    factor: float,
    speed: float,
) -> tuple[float, float, float]:
    """Pressure (bar), friction and torque (N m) at a face temperature; `mu` is what the control felt before."""
    pressure = wanted_pressure(demand, brake, rig, mu, speed)
    mu = factor * friction(material, surface, face - KELVIN, pressure, speed * brake.effective_radius_mm * 1e-3)
    if demand.control != "pressure":
        pressure = wanted_pressure(demand, brake, rig, mu, speed)
    return pressure, mu, mu * brake.torque_per_bar * max(pressure - brake.threshold_bar, 0.0)


def duration(demand: Demand, rig: Rig, torque: float, speed: float, phase: Phase) -> tuple[float, float]:
    """Seconds a step takes and the speed at its end."""
    slowing = (torque + rig.drag(speed)) / rig.inertia
    if phase.seconds is None:
        return (speed - phase.until) / slowing, phase.until
    return phase.seconds, speed if demand.kind == "drag" else max(speed - slowing * phase.seconds, 0.0)


def averaged(values: list[float], weights: list[float]) -> float:
    """Weighted mean."""
    return sum(v * w for v, w in zip(values, weights, strict=True)) / sum(weights)


def column(steps: list[Step], name: str) -> list[float]:
    """One quantity of every step."""
    return [getattr(step, name) for step in steps]


def coarse_truth(done: CoarseApplication, demand: Demand, rig: Rig) -> dict[str, float | None]:
    """The same row of truth as `truth.stop_truth` gives for a recording, less the initial temperature."""
    part = done.steps[INSIDE]
    mu, seconds = column(part, "mu"), column(part, "seconds")
    distance = [s.speed * s.seconds for s in part]
    kinetic = rig.inertia * (done.speed_start**2 - done.speed_end**2) / 2e3
    return {
        "mu_distance": averaged(mu, distance),
        "mu_time": averaged(mu, seconds),
        "mu_energy": averaged(mu, [s.torque * s.speed * s.seconds for s in part]),
        "mu_bite": bite(done.steps),
        "mu_end_over_start": mu[-1] / mu[0],
        "pressure_bar": averaged(column(part, "pressure"), seconds),
        "torque_nm": averaged(column(part, "torque"), seconds),
        "surface_mean_c": averaged(column(part, "face"), seconds) - KELVIN,
        "duration_s": done.ended_s,
        "energy_kj": done.friction_work / 1e3,
        "kinetic_energy_kj": None if demand.kind == "drag" else kinetic,
        "temperature_end_c": done.disc_k - KELVIN,
        "surface_peak_c": max(column(done.steps, "face")) - KELVIN,
        "oxidation_um": done.oxidation_um,
    }


def bite(steps: list[Step]) -> float:
    """Mean friction over the first half second from the middle of the build-up."""
    left, weights = BITE_TIME + steps[0].seconds / 2.0, []
    for step in steps:
        weights.append(min(step.seconds, max(left, 0.0)))
        left -= step.seconds
    return averaged(column(steps, "mu"), weights)


def well_readings(done: CoarseApplication, start_k: float, time_constant: float) -> list[float]:
    """The thermocouple at the end of each step, degC."""
    out, reading = [], start_k
    for step in done.steps:
        keep = exp(-step.seconds / time_constant) if time_constant > 0.0 else 0.0
        reading = step.well + (reading - step.well) * keep
        out.append(reading - KELVIN)
    return out
