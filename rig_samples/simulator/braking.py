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
    STEFAN_BOLTZMANN,
    Disc,
    enthalpy,
    mode_decay,
    mode_shape,
    step_factors,
    temperature_of,
)
from rig_samples.simulator.material import (
    GAS_CONSTANT,
    OXIDATION_REFERENCE_K,
    Material,
    Surface,
    friction,
    glaze_rate,
    logistic,
)

RELEASE_TIME = 0.03  # s, first-order fall of the line pressure
DRYING_TIME = 3.0  # s, loss of moisture from a surface above 170 degC
KELVIN = 273.15


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


def wanted_pressure(demand: Demand, brake: Brake, rig: Rig, mu: float, speed: float) -> float:
    """Line pressure in bar that the control asks for, with the friction it feels."""
    if demand.control == "pressure":
        return min(demand.level, rig.pressure_limit_bar)
    torque = demand.level
    if demand.control == "deceleration":
        torque = rig.inertia * demand.level / rig.rolling_radius - rig.drag(speed)
    return min(brake.threshold_bar + torque / (brake.torque_per_bar * max(mu, 0.05)), rig.pressure_limit_bar)


def before_command(demand: Demand, rig: Rig, samples: int, dt: float) -> np.ndarray:
    """Speeds before the command: the shaft coasts down to the start speed (a drag: held)."""
    if demand.kind == "drag":
        return np.full(samples, demand.speed_start)
    ahead = np.arange(samples, 0, -1) * dt
    return demand.speed_start + rig.drag(demand.speed_start) / rig.inertia * ahead


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
) -> Application:
    """Simulate one recording from a disc of even temperature `disc_k`."""
    dt = 1.0 / rig.sample_rate
    pre = round(rig.before * rig.sample_rate)
    flutter = smooth_noise(rng, rig.flutter, int(240.0 / dt), max(int(0.15 / dt), 1))
    phase = rng.uniform(0.0, 2.0 * pi, 2)
    first, second = rig.ripple
    mechanical = rig.inertia_mechanical or rig.inertia
    share_flux = rig.heat_share / (2.0 * brake.ring_area)
    area_mj = 1e-6 / (2.0 * brake.ring_area)
    radius = brake.effective_radius_mm * 1e-3
    shape = mode_shape(disc, 0.003)
    exponent = material.oxidation_energy_j_mol / GAS_CONSTANT
    fall, keep_line = exp(-dt / RELEASE_TIME), exp(-dt / rig.line_time)

    glaze, moisture, bedding = surface.glaze, surface.moisture, surface.bedding
    modes = np.zeros_like(shape)
    decay, gain, rest = step_factors(disc, disc_k, dt)
    bulk, heat = disc_k, float(enthalpy(disc_k))
    face = disc_k
    speed, angle, pressure, torque, mu = demand.speed_start, 0.0, 0.0, 0.0, 0.3
    work = oxidation = 0.0
    rows: list[tuple[float, float, float, float, float, float]] = []
    release, i = -1, 0
    while True:
        rows.append((speed, torque, pressure, bulk, face, bulk + float(modes @ shape)))
        if release >= 0 and pressure < 0.02:
            break
        now = i * dt
        if release < 0 and over(demand, speed, now):
            release = i
        if release >= 0:
            pressure = pressure * fall
        else:
            aim = wanted_pressure(demand, brake, rig, mu, speed)
            pressure += min((aim - pressure) * (1.0 - keep_line), rig.line_rate_bar_s * dt)
        angle += speed * dt
        mu = friction(material, face - KELVIN, pressure, speed * radius, glaze, moisture, bedding)
        mu *= mu_factor * (1.0 + flutter[i])
        mu *= 1.0 + first * sin(angle + phase[0]) + second * sin(2.0 * angle + phase[1])
        was, was_speed = torque, speed
        torque = mu * brake.torque_per_bar * max(pressure - brake.threshold_bar, 0.0)
        if demand.kind != "drag":
            drag = rig.drag(speed)
            speed -= dt / rig.inertia * ((was + torque) / 2.0 + drag)
            if speed <= 0.0:
                speed = torque = 0.0
        power = (was * was_speed + torque * speed) / 2.0
        work += power * dt
        loss = disc.loss_w_k * (face - disc.ambient) + disc.emissivity * STEFAN_BOLTZMANN * disc.cooled_area * (
            face**4 - disc.ambient**4
        )
        heat += (rig.heat_share * power - loss) * dt / disc.mass
        bulk = float(temperature_of(heat))
        if i % 25 == 24:
            decay, gain, rest = step_factors(disc, bulk, dt)
        flux = power * share_flux
        modes = modes * decay + gain * flux
        face = bulk + float(modes.sum()) + rest * flux
        per_face = power * dt * area_mj
        glaze += glaze_rate(material, glaze, face - KELVIN, flux * 1e-6) * per_face
        bedding += (1.0 - bedding) * per_face / material.bedding_mj_m2
        moisture *= 1.0 - dt / DRYING_TIME * logistic((face - KELVIN - 170.0) / 15.0)
        oxidation += dt * exp(-exponent * (1.0 / face - 1.0 / OXIDATION_REFERENCE_K))
        i += 1
    after = coasting(demand, rows[-1], modes, disc, rig, round(rig.after / dt) - (len(rows) - release), dt)
    signals = assembled(demand, rig, mechanical, rows, after, pre, disc_k, dt)
    modes = modes * np.exp(-mode_decay(disc, bulk) * dt * len(after))
    oxidation += dt * float(np.exp(-exponent * (1.0 / after[:, 4] - 1.0 / OXIDATION_REFERENCE_K)).sum())
    return Application(
        signals,
        pre + release,
        Surface(min(max(glaze, 0.0), 1.0), moisture, bedding),
        float(after[-1, 3]),
        modes,
        oxidation * material.oxidation_um_s,
        work,
    )


def over(demand: Demand, speed: float, now: float) -> bool:
    """Whether the brake is to be released."""
    if demand.abort_after is not None and now >= demand.abort_after:
        return True
    if demand.kind == "drag":
        return now >= (demand.duration or 10.0)
    return speed <= demand.speed_end or now > 200.0


def smooth_noise(rng: np.random.Generator, sd: float, samples: int, length: int) -> list[float]:
    """Noise of a standard deviation, smoothed over `length` samples."""
    white = rng.normal(0.0, 1.0, samples + length - 1)
    running = np.concatenate([[0.0], np.cumsum(white)])
    return (sd * (running[length:] - running[:-length]) / np.sqrt(length)).tolist()


def coasting(
    demand: Demand,
    last: tuple[float, float, float, float, float, float],
    modes: np.ndarray,
    disc: Disc,
    rig: Rig,
    samples: int,
    dt: float,
) -> np.ndarray:
    """Samples after release, columns as in the braking loop: the shaft coasts, the disc evens out."""
    samples = max(samples, 10)
    ahead = np.arange(1, samples + 1) * dt
    speed, _, _, bulk, _, _ = last
    slowing = 0.0 if demand.kind == "drag" else rig.drag(speed) / rig.inertia
    speeds = np.maximum(speed - slowing * ahead, 0.0)
    decays = np.exp(-np.outer(ahead, mode_decay(disc, bulk))) * modes
    loss = disc.loss_w_k * (bulk - disc.ambient) + disc.emissivity * STEFAN_BOLTZMANN * disc.cooled_area * (
        bulk**4 - disc.ambient**4
    )
    bulks = np.asarray(temperature_of(float(enthalpy(bulk)) - loss * ahead / disc.mass))
    zero = np.zeros(samples)
    return np.column_stack(
        [speeds, zero, zero, bulks, bulks + decays.sum(axis=1), bulks + decays @ mode_shape(disc, 0.003)]
    )


def assembled(
    demand: Demand,
    rig: Rig,
    mechanical: float,
    rows: list[tuple[float, float, float, float, float, float]],
    after: np.ndarray,
    pre: int,
    disc_k: float,
    dt: float,
) -> dict[str, np.ndarray]:
    """The true channels of the whole recording."""
    speeds = before_command(demand, rig, pre, dt)
    still = np.zeros(pre)
    even = np.full(pre, disc_k)
    ahead = np.column_stack([speeds, still, still, even, even, even])
    speed, torque, pressure, bulk, face, well = np.vstack([ahead, np.asarray(rows), after]).T
    drag = np.where(speed > 0.0, rig.drag_nm + rig.drag_nm_s * speed, 0.0)
    out = {
        "time_s": (np.arange(len(speed)) - pre) * dt,
        "speed_rpm": speed / RPM,
        "brake_torque_nm": torque,
        "torque_nm": torque + drag,
        "pressure_bar": pressure,
        "bulk_c": bulk - KELVIN,
        "surface_c": face - KELVIN,
        "well_c": well - KELVIN,
    }
    if rig.inertia_mechanical is not None:
        share = 1.0 if demand.kind == "drag" else 1.0 - mechanical / rig.inertia
        out["drive_torque_nm"] = share * (torque + drag)
    return out
