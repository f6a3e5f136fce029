"""Temperature history of the rubbed surface over braking and the pause after it.

A thermocouple lags a stop of a few seconds by 50 K and more, and one set near the face reads above the bulk: what it
shows within a stop is the sensor's as much as the disc's. So the surface is modelled from the settled temperature
before the stop: one-dimensional conduction under the stop's own power (`pipeline.heat.slab`) while braking and while
the disc evens out after it, on top of a bulk that cools to what the thermocouple shows once it has settled again, and below by what the face radiates itself
(`pipeline.heat.face_loss`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.constants import Array
from pipeline.heat import slab
from pipeline.heat.capacity import Material, heat_capacity, heated
from pipeline.heat.face_loss import below
from pipeline.wear.cooling import Curve, Pause, pauses

SENSOR_SETTLING_S = 3.0


@dataclass(frozen=True)
class Plate:
    """The disc's ring as half a plate on each face, and the mass that its bulk heats; SI. ring_area of one face."""

    ring_area: float
    thickness: float
    mass: float
    conductivity: float
    density: float
    material: Material
    heat_share: float = 1.0  # of the friction heat, into the disc
    radiating: float = (
        0.0  # of the bare faces, emissivity x Stefan-Boltzmann constant x their share of the ring, W/(m^2 K^4)
    )

    def face(self, kelvin: Array) -> Array:
        """The face's temperature in K where it would be at `kelvin` if it gave nothing off itself; see `pipeline.heat.face_loss`."""
        return below(kelvin, self.radiating, self.thickness / 2, self.conductivity)

    @property
    def evening_s(self) -> float:
        """Time constant of the slowest mode in which half a plate evens out, L^2 / (pi^2 alpha), cp at 700 K."""
        alpha = self.conductivity / (self.density * float(heat_capacity(700.0, self.material)))
        return float((self.thickness / 2) ** 2 / (np.pi**2 * alpha))

    @property
    def settled_s(self) -> float:
        """How long after braking a thermocouple in the disc shows the bulk."""
        return 4 * self.evening_s + SENSOR_SETTLING_S


@dataclass(frozen=True)
class Samples:
    """Samples of the stops from brake start, padded to [stops, n] by repeating the last.

    time in s; measured in K; power in W of the whole brake; duration of braking [stops] in s; initial [stops] in K.
    """

    time: np.ndarray
    measured: np.ndarray
    power: np.ndarray
    duration: np.ndarray
    initial: np.ndarray

    @property
    def braking(self) -> np.ndarray:
        return self.time <= self.duration[:, None] + 1e-9


@dataclass(frozen=True)
class Excess:
    """Surface above bulk in K: while braking [stops, n], and at times in s after it [stops, m]."""

    braking: np.ndarray
    time: np.ndarray
    after: np.ndarray

    def scaled(self, factor: float) -> Excess:
        """Of another power: conduction is next to linear in it."""
        return Excess(self.braking * factor, self.time, self.after * factor)

    def at(self, time: Array) -> Array:
        """The excess at other times [stops, m] after braking."""
        return np.array([np.interp(t, own, values) for t, own, values in zip(time, self.time, self.after, strict=True)])


@dataclass(frozen=True)
class History:
    """(time, kelvin) of the surface: while braking, and of what follows in stretches; heating belongs to the next
    stop. excess: of a modelled surface.
    """

    braking: tuple[np.ndarray, np.ndarray]
    after: list[tuple[np.ndarray, np.ndarray]]
    heating: tuple[np.ndarray, np.ndarray]
    excess: Excess | None = None


def modelled(
    samples: Samples,
    idle: Array,
    following: Array,
    plate: Plate,
    curve: Curve | None,
    known: Excess | None = None,
) -> History:
    """Surface history by conduction; idle [stops] in s from brake end to the next stop, following its temperature in
    K. known: the surface's excess where it is known already.
    """
    time, power, step = _braking_power(samples, plate.heat_share)
    cells = samples.initial
    if known is None:
        braking, cells = _excess(time, power, samples.initial, plate)
    else:
        braking = known.braking
    bulk = _bulk(samples.initial, power, step, braking, plate, curve)
    settled, level = _settled(samples, plate)
    first = pauses(
        bulk[:, -1], np.where(np.isnan(level), following, level), np.where(np.isnan(level), idle, settled), curve
    )
    if known is None:
        later, _ = _excess(first.time, np.zeros_like(first.time), cells, plate)
        known = Excess(braking, first.time, np.column_stack([braking[:, -1], later[:, 1:]]))
    stretches = [(first.time, plate.face(first.kelvin + known.at(first.time)))]
    heating = (first.rising_time, first.rising_kelvin)
    if np.isfinite(level).any():
        recorded, heating = _recorded(samples, idle, following, settled, level, curve, first)
        stretches += [(at, plate.face(kelvin)) for at, kelvin in recorded]
    return History((time, plate.face(bulk + braking)), stretches, heating, known)


def _braking_power(samples: Samples, share: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(time with all that follows braking put onto brake end, mean power into the disc over each step, step); the pause has
    its own nodes.
    """
    time = np.minimum(samples.time, samples.duration[:, None])
    step = np.diff(time, axis=1, prepend=time[:, :1])
    mean = share * (samples.power + np.roll(samples.power, 1, axis=1)) / 2
    power = np.where(step > 0, mean, 0.0)
    power[:, 0] = 0.0
    return time, power, step


def _excess(time: Array, power: Array, start: Array, plate: Plate) -> tuple[Array, Array]:
    """(surface above bulk in K under the whole brake's power in W [stops, n], temperatures of the plate's cells at the end);
    start: K, even through the plate [stops] or of its cells.
    """
    surface, mean, cells = slab.conduct_on(
        time,
        power / (2 * plate.ring_area),
        start,
        half_thickness=plate.thickness / 2,
        conductivity=plate.conductivity,
        density=plate.density,
        material=plate.material,
    )
    return surface - mean, cells


def _bulk(initial: Array, power: Array, step: Array, excess: Array, plate: Plate, curve: Curve | None) -> Array:
    """Bulk temperature in K by the heat put in less what the face, hotter than the bulk, loses meanwhile, [stops,
    n].
    """
    given = np.cumsum(power * step / plate.mass, axis=1)
    if curve is None:
        return heated(initial[:, None], given, plate.material)
    lost = curve.loss_per_mass(initial)[:, None] * np.ones_like(step)
    for _ in range(2):
        bulk = heated(initial[:, None], given - np.cumsum(lost * step, axis=1), plate.material)
        lost = curve.loss_per_mass(bulk + excess)
    return bulk


def _settled(samples: Samples, plate: Plate) -> tuple[np.ndarray, np.ndarray]:
    """Seconds after brake end of the first recorded sample that shows the bulk, and its temperature; NaN where none
    is.
    """
    after = samples.time - samples.duration[:, None]
    good = (after >= plate.settled_s) & np.isfinite(samples.measured)
    first = good.argmax(axis=1)
    rows = np.arange(len(first))
    has = good.any(axis=1)
    return (
        np.where(has, after[rows, first], np.nan),
        np.where(has, samples.measured[rows, first], np.nan),
    )


def _recorded(
    samples: Samples,
    idle: Array,
    following: Array,
    settled: Array,
    level: Array,
    curve: Curve | None,
    first: Pause,
) -> tuple[list[tuple[Array, Array]], tuple[Array, Array]]:
    """Stretches after a settled sample: the record itself, then the pause from its end."""
    after = samples.time - samples.duration[:, None]
    shown = np.where(after >= np.where(np.isnan(settled), np.inf, settled)[:, None], samples.measured, np.nan)
    has = np.isfinite(level)
    left = np.where(has, np.maximum(idle - after[:, -1], 0.0), 0.0)
    last = pauses(np.where(has, samples.measured[:, -1], samples.initial), following, left, curve)
    rising = has[:, None]
    heating = (
        np.where(rising, last.rising_time, first.rising_time),
        np.where(rising, last.rising_kelvin, first.rising_kelvin),
    )
    return [(samples.time, shown), (last.time, last.kelvin)], heating


def indicated(samples: Samples, idle: Array, following: Array, curve: Curve | None) -> History:
    """The thermocouple's own history, where the surface cannot be modelled.

    idle (s), following (temperature at the next start, K): [stops], NaN where unknown.
    """
    braking = samples.braking
    after = np.where(braking & np.roll(braking, -1, axis=1), np.nan, samples.measured)
    recorded = np.maximum(samples.time[:, -1] - samples.duration, 0.0)
    rest = pauses(samples.measured[:, -1], following, np.maximum(idle - recorded, 0.0), curve)
    return History(
        (samples.time, np.where(braking, samples.measured, np.nan)),
        [(samples.time, after), (rest.time, rest.kelvin)],
        (rest.rising_time, rest.rising_kelvin),
    )
