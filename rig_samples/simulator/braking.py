"""One recording: the shaft before, during and after a brake application, sample by sample.

    I dw/dt = -T_brake - T_drag          (electrically simulated inertia: I_mech dw/dt = T_drive - ...)
    T_brake = 2 mu eta (p - p0) A r

The torque is averaged over each step (trapezoid), so the work of the recorded torque and the change of
kinetic energy agree to the square of the step. Time zero is the brake command.
"""

from dataclasses import dataclass
from math import exp, pi, sin

import numpy as np

from rig_samples.simulator.brake import RPM, Brake, Rig
from rig_samples.simulator.disc import (
    Disc,
    enthalpy,
    heat_loss,
    mode_decay,
    mode_shape,
    step_factors,
    temperature_of,
)
from rig_samples.simulator.material import (
    Material,
    Surface,
    aged,
    friction,
    oxidation_um_s,
)

RELEASE_TIME = 0.03  # s, first-order fall of the line pressure
RELEASED_BAR = 0.02
WELL_DEPTH = 0.003  # m, the thermocouple below the rubbing face
LONGEST_S = 240.0
KELVIN = 273.15
REFRESH = 25  # steps between new factors of conduction


@dataclass(frozen=True)
class Demand:
    """What one brake application is asked to do; SI but pressure in bar."""

    kind: str  # stop | snub | drag
    speed_start: float
    speed_end: float
    control: str = "pressure"  # pressure | torque | deceleration
    level: float = 25.0  # bar, N m or m/s2
    duration: float | None = None  # a drag
    abort_after: float | None = None  # released early, seconds after the command


@dataclass(frozen=True)
class Application:
    """True signals of one recording and the state it leaves behind."""

    signals: dict[str, np.ndarray]  # time_s from the command and the true channels
    release: int  # index of the first sample at which braking was over
    surface: Surface
    disc_k: float  # bulk, at the end of the recording
    modes: np.ndarray
    oxidation_um: float  # disc, both faces, within the recording
    friction_work: float  # J

    @property
    def ended_s(self) -> float:
        """End of the recording after the command."""
        return float(self.signals["time_s"][-1])


@dataclass(slots=True)
class Running:
    """What changes from sample to sample while the brake is on; SI but pressure in bar."""

    speed: float
    bulk: float
    heat: float
    face: float
    modes: np.ndarray
    surface: Surface
    angle: float = 0.0
    pressure: float = 0.0
    torque: float = 0.0
    mu: float = 0.3
    work: float = 0.0
    oxidation_um: float = 0.0


@dataclass(frozen=True)
class Unevenness:
    """Factor of mu within a stop: slow flutter, and ripple with the shaft's angle."""

    flutter: list[float]
    ripple: tuple[float, float]
    phase: tuple[float, float]

    def at(self, step: int, angle: float) -> float:
        """The factor at a step and an angle of the shaft."""
        waves = self.ripple[0] * sin(angle + self.phase[0]) + self.ripple[1] * sin(2.0 * angle + self.phase[1])
        return (1.0 + self.flutter[step]) * (1.0 + waves)


def brake_once(
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
) -> Application:
    """Simulate one recording; at the command the disc is at an even `disc_k`, having cooled at `falling_k_s`."""
    dt = 1.0 / rig.sample_rate
    shape = mode_shape(disc, WELL_DEPTH)
    uneven = unevenness(rig, rng, dt)
    r = Running(demand.speed_start, disc_k, float(enthalpy(disc_k)), disc_k, np.zeros_like(shape), surface)
    conduction = step_factors(disc, disc_k, dt)
    fall, keep = exp(-dt / RELEASE_TIME), exp(-dt / rig.line_time)
    rows: list[tuple[float, ...]] = []
    release = -1
    while True:
        rows.append((r.speed, r.torque, r.pressure, r.bulk, r.face, r.bulk + float(r.modes @ shape)))
        if release >= 0 and r.pressure < RELEASED_BAR:
            break
        step = len(rows) - 1
        if release < 0 and over(demand, r.speed, step * dt):
            release = step
        r.pressure = line_pressure(r, demand, brake, rig, release >= 0, fall, keep, dt)
        power = turn(r, demand, material, brake, rig, mu_factor * uneven.at(step, r.angle + r.speed * dt), dt)
        if step % REFRESH == REFRESH - 1:
            conduction = step_factors(disc, r.bulk, dt)
        warm(r, power, material.heat_share, disc, brake.ring_area, conduction, dt)
        r.surface = aged(material, r.surface, r.face - KELVIN, power, dt, brake.ring_area)
        r.oxidation_um += dt * oxidation_um_s(material, r.face)
        r.work += power * dt
    after = coasting(demand, r, disc, rig, max(round(rig.after / dt) - (len(rows) - release), 10), dt)
    before = before_command(demand, rig, disc_k, falling_k_s, dt)
    signals = assembled(demand, rig, before, np.asarray(rows), after, dt)
    oxidised = r.oxidation_um + dt * sum(oxidation_um_s(material, face) for face in after[:, 4].tolist())
    modes = r.modes * np.exp(-mode_decay(disc, r.bulk) * dt * len(after))
    start = round(rig.before * rig.sample_rate)
    return Application(signals, start + release, r.surface, float(after[-1, 3]), modes, oxidised, r.work)


def wanted_pressure(demand: Demand, brake: Brake, rig: Rig, mu: float, speed: float) -> float:
    """Line pressure in bar that the control asks for, with the friction it feels."""
    if demand.control == "pressure":
        return min(demand.level, rig.pressure_limit_bar)
    torque = demand.level
    if demand.control == "deceleration":
        torque = rig.inertia * demand.level / rig.rolling_radius - rig.drag(speed)
    return min(brake.threshold_bar + torque / (brake.torque_per_bar * max(mu, 0.05)), rig.pressure_limit_bar)


def line_pressure(
    r: Running, demand: Demand, brake: Brake, rig: Rig, released: bool, fall: float, keep: float, dt: float
) -> float:
    """Line pressure after a step: a first-order approach of limited rate, or the fall after release."""
    if released:
        return r.pressure * fall
    aim = wanted_pressure(demand, brake, rig, r.mu, r.speed)
    return r.pressure + min((aim - r.pressure) * (1.0 - keep), rig.line_rate_bar_s * dt)


def turn(r: Running, demand: Demand, material: Material, brake: Brake, rig: Rig, factor: float, dt: float) -> float:
    """Move the shaft on by a step; returns the mean friction power of the step in W."""
    r.angle += r.speed * dt
    sliding = r.speed * brake.effective_radius_mm * 1e-3
    r.mu = factor * friction(material, r.surface, r.face - KELVIN, r.pressure, sliding)
    was_torque, was_speed = r.torque, r.speed
    r.torque = r.mu * brake.torque_per_bar * max(r.pressure - brake.threshold_bar, 0.0)
    if demand.kind != "drag":
        r.speed -= dt / rig.inertia * ((was_torque + r.torque) / 2.0 + rig.drag(r.speed))
        if r.speed <= 0.0:
            r.speed = r.torque = 0.0
    return (was_torque * was_speed + r.torque * r.speed) / 2.0


def warm(
    r: Running,
    power: float,
    share: float,
    disc: Disc,
    ring_area: float,
    conduction: tuple[np.ndarray, np.ndarray, float],
    dt: float,
) -> None:
    """Heat the disc by a step of friction power."""
    decay, gain, rest = conduction
    r.heat += (share * power - heat_loss(disc, r.face)) * dt / disc.mass
    r.bulk = float(temperature_of(r.heat))
    flux = power * share / (2.0 * ring_area)
    r.modes = r.modes * decay + gain * flux
    r.face = r.bulk + float(r.modes.sum()) + rest * flux


def over(demand: Demand, speed: float, now: float) -> bool:
    """Whether the brake is to be released."""
    if demand.abort_after is not None and now >= demand.abort_after:
        return True
    if demand.kind == "drag":
        return now >= (demand.duration or 10.0)
    return speed <= demand.speed_end or now > LONGEST_S - 10.0


def unevenness(rig: Rig, rng: np.random.Generator, dt: float) -> Unevenness:
    """Draw the flutter (smoothed over 0.15 s) and the phases of the ripple."""
    samples, length = int(LONGEST_S / dt), max(int(0.15 / dt), 1)
    running = np.concatenate([[0.0], np.cumsum(rng.normal(0.0, 1.0, samples + length - 1))])
    flutter = rig.flutter * (running[length:] - running[:-length]) / np.sqrt(length)
    phase = rng.uniform(0.0, 2.0 * pi, 2)
    return Unevenness(flutter.tolist(), rig.ripple, (float(phase[0]), float(phase[1])))


def coasting(demand: Demand, r: Running, disc: Disc, rig: Rig, samples: int, dt: float) -> np.ndarray:
    """Samples after release, columns as while braking: the shaft coasts, the disc evens out."""
    ahead = np.arange(1, samples + 1) * dt
    slowing = 0.0 if demand.kind == "drag" else rig.drag(r.speed) / rig.inertia
    speeds = np.maximum(r.speed - slowing * ahead, 0.0)
    bulks = np.asarray(temperature_of(float(enthalpy(r.bulk)) - heat_loss(disc, r.bulk) * ahead / disc.mass))
    uneven = np.exp(-np.outer(ahead, mode_decay(disc, r.bulk))) * r.modes
    zero = np.zeros(samples)
    well = bulks + uneven @ mode_shape(disc, WELL_DEPTH)
    return np.column_stack([speeds, zero, zero, bulks, bulks + uneven.sum(axis=1), well])


def before_command(demand: Demand, rig: Rig, disc_k: float, falling_k_s: float, dt: float) -> np.ndarray:
    """Samples before the command: the shaft coasts down to the start speed (a drag: held), the disc is even."""
    samples = round(rig.before * rig.sample_rate)
    ahead = np.arange(samples, 0, -1) * dt
    slowing = 0.0 if demand.kind == "drag" else rig.drag(demand.speed_start) / rig.inertia
    zero, even = np.zeros(samples), disc_k + falling_k_s * ahead
    return np.column_stack([demand.speed_start + slowing * ahead, zero, zero, even, even, even])


def assembled(
    demand: Demand, rig: Rig, before: np.ndarray, braking: np.ndarray, after: np.ndarray, dt: float
) -> dict[str, np.ndarray]:
    """The true channels of the whole recording."""
    speed, torque, pressure, bulk, face, well = np.vstack([before, braking, after]).T
    drag = np.where(speed > 0.0, rig.drag_nm + rig.drag_nm_s * speed, 0.0)
    out = {
        "time_s": (np.arange(len(speed)) - len(before)) * dt,
        "speed_rpm": speed / RPM,
        "brake_torque_nm": torque,
        "torque_nm": torque + drag,
        "pressure_bar": pressure,
        "bulk_c": bulk - KELVIN,
        "surface_c": face - KELVIN,
        "well_c": well - KELVIN,
    }
    if rig.inertia_mechanical is not None:
        # The drive gives what the missing part of the inertia would, so that the shaft slows as with all of it.
        share = 1.0 if demand.kind == "drag" else 1.0 - rig.inertia_mechanical / rig.inertia
        out["drive_torque_nm"] = share * (torque + drag)
    return out
