"""One brake application in a few steps of speed: the fast path of studies over thousands of tests.

The build-up is one step with the impulse of the line's ramp, the window a dozen equal steps of speed and the
rest of the braking one more; each is taken twice (predictor and corrector) so that friction and surface
temperature agree. The work of a step is then exactly the change of kinetic energy less that of drag. The
slowest modes of the disc are kept, the others follow the flux at once.
"""

from dataclasses import dataclass, field
from math import cos, exp, log, pi

import numpy as np

from rig_samples.simulator.brake import RPM, Brake, Rig
from rig_samples.simulator.braking import DRYING_TIME, KELVIN, Demand, wanted_pressure
from rig_samples.simulator.disc import MODES, STEFAN_BOLTZMANN, Disc, enthalpy, heat_capacity, temperature_of
from rig_samples.simulator.material import (
    GAS_CONSTANT,
    OXIDATION_REFERENCE_K,
    Material,
    Surface,
    friction,
    glaze_rate,
    logistic,
)
from rig_samples.simulator.truth import BITE_TIME, BUILD_UP, END_MARGIN

STEPS = 12
KEPT = 4
WELL_DEPTH = 0.003


@dataclass
class Steps:
    """Per-step values of an application, in order."""

    seconds: list[float] = field(default_factory=list)
    speed: list[float] = field(default_factory=list)  # rad/s, mean of the step
    torque: list[float] = field(default_factory=list)
    pressure: list[float] = field(default_factory=list)
    mu: list[float] = field(default_factory=list)
    bulk: list[float] = field(default_factory=list)
    face: list[float] = field(default_factory=list)
    well: list[float] = field(default_factory=list)


@dataclass(frozen=True)
class CoarseApplication:
    """An application by steps and the state it leaves; `inside` marks the steps of the window."""

    steps: Steps
    inside: slice
    drag_work: float  # J
    surface: Surface
    disc_k: float
    modes: np.ndarray
    oxidation_um: float
    friction_work: float  # J
    speed_start: float
    speed_end: float
    ended_s: float


@dataclass
class _Heat:
    """Running temperature of the disc."""

    disc: Disc
    heat: float
    bulk: float
    modes: list[float]
    face: float


def build_up(rig: Rig, level: float) -> tuple[float, float]:
    """Seconds until the line is at 95 % of `level` bar, and the mean share of the level until then."""
    linear = max(level - rig.line_rate_bar_s * rig.line_time, 0.0)
    first = linear / rig.line_rate_bar_s
    left = level - linear
    second = rig.line_time * log(left / ((1.0 - BUILD_UP) * level))
    area = linear / 2.0 * first + level * second - rig.line_time * (left - (1.0 - BUILD_UP) * level)
    return first + second, area / (level * (first + second))


def heated(state: _Heat, power: float, dt: float, share: float, area: float) -> _Heat:
    """The disc after a step of constant friction power."""
    disc = state.disc
    flux = power * share / (2.0 * area)
    loss = disc.loss_w_k * (state.face - disc.ambient) + disc.emissivity * STEFAN_BOLTZMANN * disc.cooled_area * (
        state.face**4 - disc.ambient**4
    )
    heat = state.heat + (power * share - loss) * dt / disc.mass
    bulk = float(temperature_of(heat))
    capacity = disc.density * heat_capacity(bulk)
    depth = disc.thickness / 2.0
    slowest = pi**2 * disc.conductivity / capacity / depth**2
    rest = depth / (3.0 * disc.conductivity)
    modes = []
    for n, mode in enumerate(state.modes, start=1):
        rate = n * n * slowest
        steady = 2.0 / (capacity * depth * rate)
        keep = exp(-rate * dt)
        modes.append(mode * keep + steady * flux * (1.0 - keep))
        rest -= steady
    return _Heat(disc, heat, bulk, modes, bulk + sum(modes) + rest * flux)


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
) -> CoarseApplication:
    """Simulate one application from a disc of even temperature; `rng` is there for the interface's sake."""
    radius = brake.effective_radius_mm * 1e-3
    area_mj = 1e-6 / (2.0 * brake.ring_area)
    exponent = material.oxidation_energy_j_mol / GAS_CONSTANT
    glaze, moisture, bedding = surface.glaze, surface.moisture, surface.bedding
    state = _Heat(disc, float(enthalpy(disc_k)), disc_k, [0.0] * KEPT, disc_k)
    steps, oxidation, work, drag_work, elapsed = Steps(), 0.0, 0.0, 0.0, 0.0
    shape = [cos(n * pi * WELL_DEPTH / (disc.thickness / 2.0)) for n in range(1, KEPT + 1)]

    def friction_at(face: float, pressure: float, speed: float) -> float:
        return mu_factor * friction(material, face - KELVIN, pressure, speed * radius, glaze, moisture, bedding)

    speed, last = demand.speed_start, demand.speed_end
    mu = friction_at(disc_k, demand.level if demand.control == "pressure" else 20.0, speed)
    ramp, share = build_up(rig, wanted_pressure(demand, brake, rig, mu, speed))
    for target in [None, *targets(demand, last)]:
        before = state
        guess = state.face
        for _ in range(2):
            pressure = wanted_pressure(demand, brake, rig, mu, speed)
            mu = friction_at((before.face + guess) / 2.0, pressure, speed)
            pressure = wanted_pressure(demand, brake, rig, mu, speed) if demand.control != "pressure" else pressure
            torque = mu * brake.torque_per_bar * max(pressure - brake.threshold_bar, 0.0)
            if target is None:
                torque *= share
                dt = ramp
            slowing = (torque + rig.drag(speed)) / rig.inertia
            if demand.kind == "drag":
                dt = ramp if target is None else ((demand.duration or 10.0) - ramp) / STEPS
                end = speed
            elif target is None:
                end = max(speed - slowing * dt, last)
            else:
                end = min(target, speed)
                dt = (speed - end) / slowing
            mean = (speed + end) / 2.0
            state = heated(before, torque * mean, dt, rig.heat_share, brake.ring_area)
            guess = state.face
        if dt <= 0.0:
            continue
        face = (before.face + state.face) / 2.0
        steps.seconds.append(dt)
        steps.speed.append(mean)
        steps.torque.append(torque)
        steps.pressure.append(pressure if target is not None else pressure * share)
        steps.mu.append(mu)
        steps.bulk.append(state.bulk)
        steps.face.append(face)
        steps.well.append(state.bulk + sum(m * c for m, c in zip(state.modes, shape, strict=True)))
        per_face = torque * mean * dt * area_mj
        glaze += glaze_rate(material, glaze, face - KELVIN, torque * mean * 1e-6 / (2.0 * brake.ring_area)) * per_face
        bedding += (1.0 - bedding) * (1.0 - exp(-per_face / material.bedding_mj_m2))
        moisture *= exp(-dt / DRYING_TIME * logistic((face - KELVIN - 170.0) / 15.0))
        oxidation += dt * exp(-exponent * (1.0 / face - 1.0 / OXIDATION_REFERENCE_K))
        work += torque * mean * dt
        drag_work += rig.drag(mean) * mean * dt
        elapsed += dt
        speed = end
    modes = np.zeros(MODES)
    modes[:KEPT] = state.modes
    return CoarseApplication(
        steps,
        slice(1, STEPS + 1),
        drag_work,
        Surface(min(max(glaze, 0.0), 1.0), moisture, bedding),
        state.bulk,
        modes,
        oxidation * material.oxidation_um_s,
        work,
        demand.speed_start,
        speed,
        elapsed,
    )


def targets(demand: Demand, last: float) -> list[float]:
    """Speeds at the ends of the steps after the build-up."""
    if demand.kind == "drag":
        return [demand.speed_start] * STEPS
    floor = last + END_MARGIN * demand.speed_start
    first = demand.speed_start
    return [first + (floor - first) * (k + 1) / STEPS for k in range(STEPS)] + [last]


def averaged(values: list[float], weights: list[float]) -> float:
    """Weighted mean."""
    return sum(v * w for v, w in zip(values, weights, strict=True)) / sum(weights)


def coarse_truth(done: CoarseApplication, demand: Demand, rig: Rig) -> dict[str, float | None]:
    """The same row of truth as `truth.stop_truth` gives for a recording."""
    s, inside = done.steps, done.inside
    mu, seconds = s.mu[inside], s.seconds[inside]
    distance = [w * dt for w, dt in zip(s.speed[inside], seconds, strict=True)]
    work = [t * d for t, d in zip(s.torque[inside], distance, strict=True)]
    early = np.cumsum(s.seconds) - np.asarray(s.seconds) < BITE_TIME + s.seconds[0] / 2.0
    bite = int(early.sum())
    return {
        "mu_distance": averaged(mu, distance),
        "mu_time": averaged(mu, seconds),
        "mu_energy": averaged(mu, work),
        "mu_bite": averaged(s.mu[:bite], s.seconds[:bite]),
        "mu_end_over_start": mu[-1] / mu[0],
        "pressure_bar": averaged(s.pressure[inside], seconds),
        "torque_nm": averaged(s.torque[inside], seconds),
        "surface_mean_c": averaged(s.face[inside], seconds) - KELVIN,
        "duration_s": done.ended_s,
        "energy_kj": done.friction_work / 1e3,
        "kinetic_energy_kj": None
        if demand.kind == "drag"
        else rig.inertia * (done.speed_start**2 - done.speed_end**2) / 2e3,
        "temperature_initial_c": None,
        "temperature_end_c": s.bulk[-1] - KELVIN,
        "surface_peak_c": max(s.face) - KELVIN,
        "oxidation_um": done.oxidation_um,
    }


def well_reading(done: CoarseApplication, start_k: float, time_constant: float) -> list[float]:
    """The thermocouple at the end of each step, degC."""
    out, reading = [], start_k
    for value, dt in zip(done.steps.well, done.steps.seconds, strict=True):
        reading = value + (reading - value) * exp(-dt / time_constant) if time_constant > 0.0 else value
        out.append(reading - KELVIN)
    return out


def speeds_rpm(done: CoarseApplication) -> list[float]:
    """Mean speed of each step, rpm."""
    return [w / RPM for w in done.steps.speed]
