"""How the rig's disc cools, learnt from the test's own pauses.

    m cp(T) dT/dt = -(g (T - Ta) + r (T^4 - Ta^4))

The bulk temperature at brake end follows from the stop's heat; it has to fall to the next stop's initial temperature
in the time between. g is the value that does so in the median pause; it does not need the thermocouple while it lags
or sits in a temperature gradient. r comes from the card's emissivity and cooled area, or is nil.

The share of the friction heat that goes into the disc is the card's, else the method's (`pipeline.heat.of_card`). The pauses
cannot tell it: a face hotter than the bulk loses more heat in the first seconds, which lets pauses of a rig with share 1
agree best at a share of about 0.85, and that halves the oxidation read into a hard stop.

A pause that is shorter than the curve's, or longer within what the others scatter about it, is the curve run faster or
slower; one that is longer, or ends hotter than it began, was cooled first and heated before the next stop.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.constants import MAD_TO_SD, Array, Values
from pipeline.heat.capacity import Material, heat_capacity, heated
from pipeline.heat.lumped import STEFAN_BOLTZMANN, braking_as_cooling

NODES, RISING_NODES = 40, 10
FIRST_STEP_S = 0.04  # the face evens out fast right after braking
HEATING_K_S = 5.0  # where no pause of the test shows the rig heating the disc
SLOWER = (0.05, 4.0)  # a pause longer than the curve's by this share, or so many spreads, was held or heated


@dataclass(frozen=True)
class Curve:
    """A cool-down: seconds from the hottest temperature, at falling temperatures in K; its end is near ambient.

    pauses: how many told g in W/(kg K); spread of ln(time / curve's time)."""

    seconds: np.ndarray
    kelvin: np.ndarray
    ambient: float
    g: float = float("nan")
    radiation: float = 0.0
    pauses: int = 0
    spread: float = float("nan")
    heating: float = HEATING_K_S

    def time_at(self, kelvin: Values) -> Array:
        return np.interp(-np.asarray(kelvin, float), -self.kelvin, self.seconds)

    def at(self, seconds: Values) -> Array:
        return np.interp(seconds, self.seconds, self.kelvin)

    def loss_per_mass(self, kelvin: Values) -> Array:
        """W/kg lost at bulk temperatures in K."""
        kelvin = np.asarray(kelvin, float)
        return self.g * (kelvin - self.ambient) + self.radiation * (kelvin**4 - self.ambient**4)


def fitted_curve(
    initial: Array,
    heat_per_mass: Array,
    following: Array,
    idle: Array,
    duration: Array,
    speeds: tuple[Array, Array],
    *,
    ambient: float,
    material: Material,
    radiation: float,
) -> Curve | None:
    """The test's cool-down from stops [n]: initial and following stop's temperature in K, heat into the disc per its
    mass in J/kg, seconds from brake end to the next stop and of braking, speeds at its (start, end). None where no pause
    shows plain cooling.

    radiation: see `radiation_per_mass`.
    """
    hot = heated(initial, heat_per_mass, material)
    known = np.isfinite(idle) & np.isfinite(following) & np.isfinite(hot) & (idle > 2)
    plain = known & (following - ambient > 50) & (hot - following > 20)
    if not plain.any():
        return None
    rising = known & (following - hot > 30)
    heating = float(np.quantile((following - hot)[rising] / idle[rising], 0.9)) if rising.any() else HEATING_K_S
    hottest = float(hot[plain].max())
    start = heated(initial[plain], heat_per_mass[plain], material)
    braking = braking_as_cooling(initial, hot, duration, ambient, *speeds)
    found = _median_curve(start, following[plain], (idle + braking)[plain], ambient, material, radiation, hottest)
    if found is None:
        return None
    curve, spread = found
    return Curve(
        curve.seconds,
        curve.kelvin,
        ambient,
        curve.g,
        radiation,
        int(plain.sum()),
        spread,
        max(heating, 0.5),
    )


def _median_curve(
    start: Array, end: Array, time: Array, ambient: float, material: Material, radiation: float, hottest: float
) -> tuple[Curve, float] | None:
    """The curve whose time is right in the median pause, and the spread of the others about it (ln)."""
    cooling = start - end > 5
    if cooling.sum() < max(1, 0.5 * cooling.size):
        return None
    start, end, time = start[cooling], end[cooling], time[cooling]
    candidates = np.geomspace(0.3, 300.0, 48)
    offset = []
    for g in candidates:
        table = _table(g, ambient, material, radiation, hottest)
        offset.append(np.median(np.log(time / (table.time_at(end) - table.time_at(start)))))
    g = float(np.exp(np.interp(0.0, offset, np.log(candidates))))
    curve = _table(g, ambient, material, radiation, hottest)
    rest = np.log(time / (curve.time_at(end) - curve.time_at(start)))
    return curve, float(MAD_TO_SD * np.median(np.abs(rest - np.median(rest))))


def _table(g: float, ambient: float, material: Material, radiation: float, hottest: float) -> Curve:
    kelvin = ambient + np.geomspace(max(hottest, ambient + 100) + 50 - ambient, 0.5, 600)
    loss = g * (kelvin - ambient) + radiation * (kelvin**4 - ambient**4)
    slowness = heat_capacity(kelvin, material) / loss
    seconds = np.concatenate([[0.0], np.cumsum(-np.diff(kelvin) * (slowness[1:] + slowness[:-1]) / 2)])
    return Curve(seconds, kelvin, ambient, g, radiation)


def radiation_per_mass(emissivity: float | None, cooled_area: float | None, mass: float | None) -> float:
    """Emissivity x area x Stefan-Boltzmann over mass, W/(kg K^4); 0 where the card does not say."""
    if not (emissivity and cooled_area and mass):
        return 0.0
    return STEFAN_BOLTZMANN * emissivity * cooled_area / mass


@dataclass(frozen=True)
class Pause:
    """Times in s from the pause's start and temperatures in K, [n, NODES] cooling and [n, RISING_NODES] being heated
    for the next stop (no time where it was not)."""

    time: np.ndarray
    kelvin: np.ndarray
    rising_time: np.ndarray
    rising_kelvin: np.ndarray


def pauses(start: Array, end: Array, gap: Array, curve: Curve | None) -> Pause:
    """Pauses [n] from start to end (K) in gap s.

    Where end is NaN (the test's last stop) or near ambient, the disc cools by the curve alone; a NaN gap gives no time.
    Without a curve the temperature is a straight line.
    """
    start, end, gap = (np.asarray(v, float) for v in (start, end, gap))
    gap = np.nan_to_num(gap, nan=0.0)
    if curve is None:
        last, time = np.where(np.isnan(end), start, end), _nodes(gap)
        share = time / np.maximum(gap, 1e-9)[:, None]
        none = np.zeros((len(gap), RISING_NODES))
        return Pause(time, start[:, None] + (last - start)[:, None] * share, none, none + 293.0)
    begin = curve.time_at(start)
    needed = curve.time_at(end) - begin
    warm_end = np.isfinite(end) & (end > curve.ambient + 30)
    slack = max(SLOWER[0], SLOWER[1] * float(np.nan_to_num(curve.spread)))
    plain = warm_end & (end < start) & (gap <= (1 + slack) * needed)
    turn = np.where(warm_end & ~plain, _turn(end, gap, begin, curve), gap)
    scale = np.where(plain, needed / np.maximum(gap, 1e-9), 1.0)
    time = _nodes(turn)
    kelvin = curve.at(begin[:, None] + time * scale[:, None])
    up = np.linspace(0, 1, RISING_NODES)
    low = kelvin[:, -1:]
    return Pause(
        time, kelvin, (gap - turn)[:, None] * up, low + (np.where(np.isnan(end), low[:, 0], end)[:, None] - low) * up
    )


def _nodes(gap: np.ndarray) -> np.ndarray:
    """Times in s from 0 to each gap, [n, NODES], growing geometrically from FIRST_STEP_S."""
    first = np.minimum(FIRST_STEP_S, gap / NODES)
    ratio = np.where(gap > 0, gap / np.maximum(first, 1e-12), 1.0)
    grown = first[:, None] * ratio[:, None] ** np.linspace(0, 1, NODES - 1)
    return np.concatenate([np.zeros((len(gap), 1)), grown], axis=1)


def _turn(end: Array, gap: Array, begin: Array, curve: Curve) -> Array:
    """When cooling gives way to heating so that the pause ends at `end`; 0 where heating takes it all."""
    low, high = np.zeros_like(gap), gap.copy()
    for _ in range(40):
        middle = (low + high) / 2
        over = curve.at(begin + middle) + curve.heating * (gap - middle) > end
        low, high = np.where(over, middle, low), np.where(over, high, middle)
    return low
