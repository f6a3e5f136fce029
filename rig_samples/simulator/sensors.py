"""What the sensors make of the true signals: gain, offset, lag, noise, and how these change.

A change of gain or offset begins at a stop, as a step, a drift per stop, or both: the faults that a
healthy analysis has to tell from a change of the material.
"""

from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class Change:
    """A change of a sensor's gain (shares) or offset (the channel's unit) from a stop on."""

    from_stop: int = 1
    step: float = 0.0
    per_stop: float = 0.0

    def at(self, stop: int) -> float:
        """What is added at a stop, 1-based."""
        return self.step + self.per_stop * (stop - self.from_stop) if stop >= self.from_stop else 0.0


@dataclass(frozen=True)
class Sensors:
    """Errors of the measuring chain; everything zero but noise is a rig without calibration error."""

    torque_gain: float = 1.0
    torque_offset_nm: float = 8.0
    torque_lag_s: float = 0.012  # how much later torque is recorded than pressure
    torque_noise_nm: float = 4.0
    torque_wander_nm: float = 0.6  # of the zero, stop to stop
    torque_limit_nm: float = 4000.0
    pressure_gain: float = 1.0
    pressure_offset_bar: float = 0.12
    pressure_noise_bar: float = 0.06
    pressure_wander_bar: float = 0.015
    speed_gain: float = 1.0
    speed_noise_rpm: float = 0.4
    thermocouple_time_s: float = 0.5
    thermocouple_depth_m: float = 0.003
    temperature_offset_k: float = 0.0
    temperature_gain: float = 1.0
    temperature_noise_k: float = 0.4
    drive_noise_nm: float = 3.0
    torque_gain_change: Change = field(default_factory=Change)
    torque_offset_change: Change = field(default_factory=Change)
    pressure_gain_change: Change = field(default_factory=Change)
    pressure_offset_change: Change = field(default_factory=Change)

    def torque_gain_at(self, stop: int) -> float:
        """Gain of the torque chain at a stop."""
        return self.torque_gain * (1.0 + self.torque_gain_change.at(stop))

    def pressure_gain_at(self, stop: int) -> float:
        """Gain of the pressure chain at a stop."""
        return self.pressure_gain * (1.0 + self.pressure_gain_change.at(stop))


def delayed(values: np.ndarray, delay: float, dt: float) -> np.ndarray:
    """A uniformly sampled signal seen later by `delay` seconds, by linear interpolation."""
    if delay == 0.0:
        return values
    index = np.arange(len(values), dtype=float)
    return np.interp(index - delay / dt, index, values)


def lagged(values: np.ndarray, time_constant: float, dt: float, start: float) -> np.ndarray:
    """First-order lag of a uniformly sampled signal, from a starting value."""
    if time_constant <= 0.0:
        return values
    keep = float(np.exp(-dt / time_constant))
    out = np.empty(len(values))
    state = start
    for i, value in enumerate(values.tolist()):
        state = value + (state - value) * keep
        out[i] = state
    return out


def recorded(
    true: dict[str, np.ndarray], sensors: Sensors, stop: int, dt: float, rng: np.random.Generator
) -> dict[str, np.ndarray]:
    """The channels as the rig records them, from the true signals of one recording.

    `true` holds speed_rpm, torque_nm (with bearing drag), pressure_bar, well_c (the disc at the
    thermocouple's depth) and, with a simulated inertia, drive_torque_nm.
    """
    n = len(true["speed_rpm"])
    s = sensors
    torque = delayed(true["torque_nm"], s.torque_lag_s, dt) * s.torque_gain_at(stop)
    torque = torque + s.torque_offset_nm + s.torque_offset_change.at(stop)
    torque = torque + rng.normal(0.0, s.torque_wander_nm) + rng.normal(0.0, s.torque_noise_nm, n)
    pressure = true["pressure_bar"] * s.pressure_gain_at(stop)
    pressure = pressure + s.pressure_offset_bar + s.pressure_offset_change.at(stop)
    pressure = pressure + rng.normal(0.0, s.pressure_wander_bar) + rng.normal(0.0, s.pressure_noise_bar, n)
    well = true["well_c"]
    temperature = lagged(well, s.thermocouple_time_s, dt, float(well[0]))
    out = {
        "speed_rpm": true["speed_rpm"] * s.speed_gain + rng.normal(0.0, s.speed_noise_rpm, n),
        "torque_nm": np.clip(torque, -s.torque_limit_nm, s.torque_limit_nm),
        "pressure_bar": pressure,
        "disc_temperature_c": temperature * s.temperature_gain
        + s.temperature_offset_k
        + rng.normal(0.0, s.temperature_noise_k, n),
    }
    if "drive_torque_nm" in true:
        out["drive_torque_nm"] = true["drive_torque_nm"] + rng.normal(0.0, s.drive_noise_nm, n)
    return out
