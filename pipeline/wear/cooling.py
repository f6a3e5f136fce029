"""Disc temperature between stops, where nothing was recorded.

Known are the last recorded temperature, the next stop's initial one and the time between. The disc is taken to cool as the
rig's other pauses say, m cp(T) dT/dt = -(g (T - Ta) + r (T^4 - Ta^4)), with g from the test's own pauses (the median) and r
from the card's emissivity and cooled area, or none. A pause shorter or a little longer than that curve is the same curve run faster
or slower; one that is much longer, or ends hotter than it began, was cooled first and heated at its end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.heat.capacity import Material, heat_capacity
from pipeline.heat.lumped import STEFAN_BOLTZMANN

NODES = 36
HEATING_K_S = 6.0
SLOWER = 1.5  # a pause up to this much longer than the curve's is still taken as cooling alone
_GROWTH = 1.2


@dataclass(frozen=True)
class Curve:
    """A cool-down: seconds from the hottest temperature, at falling temperatures in K; its end is near ambient."""

    seconds: np.ndarray
    kelvin: np.ndarray
    ambient: float
    pauses: int  # how many pauses told g

    def time_at(self, kelvin) -> np.ndarray:
        return np.interp(-np.asarray(kelvin, float), -self.kelvin, self.seconds)

    def at(self, seconds) -> np.ndarray:
        return np.interp(seconds, self.seconds, self.kelvin)


def reference_curve(
    start, end, gap, *, ambient: float, material: Material, radiation: float, hottest: float
) -> Curve | None:
    """The test's cool-down from pauses: start, end in K, gap in s, all [n]; None where no pause is a plain cool-down.

    radiation: emissivity x area x Stefan-Boltzmann over mass in W/(kg K^4).
    """
    plain = (start - end > 30) & (end - ambient > 50) & (gap > 2)
    if not plain.any():
        return None
    candidates = np.geomspace(0.3, 300.0, 48)
    start, end, gap = start[plain], end[plain], gap[plain]
    ratio = []
    for g in candidates:
        curve = _table(g, ambient, material, radiation, hottest, 0)
        ratio.append(np.median(np.log(gap / (curve.time_at(end) - curve.time_at(start)))))
    g = float(np.exp(np.interp(0.0, ratio, np.log(candidates))))
    return _table(g, ambient, material, radiation, hottest, int(plain.sum()))


def _table(g, ambient, material, radiation, hottest, pauses) -> Curve:
    kelvin = ambient + np.geomspace(max(hottest, ambient + 100) + 50 - ambient, 0.5, 600)
    loss = g * (kelvin - ambient) + radiation * (kelvin**4 - ambient**4)
    slowness = heat_capacity(kelvin, material) / loss
    seconds = np.concatenate([[0.0], np.cumsum(-np.diff(kelvin) * (slowness[1:] + slowness[:-1]) / 2)])
    return Curve(seconds, kelvin, ambient, pauses)


def radiation_per_mass(emissivity, cooled_area, mass) -> float:
    """The radiation term of `reference_curve`; 0 where the card does not say."""
    if not (emissivity and cooled_area and mass):
        return 0.0
    return STEFAN_BOLTZMANN * emissivity * cooled_area / mass


def pauses(start, end, gap, curve: Curve | None) -> tuple[np.ndarray, np.ndarray]:
    """Times in s from the pause's start and temperatures in K, both [n, NODES], of pauses from start to end in gap s.

    Where end is NaN (the test's last stop) or at ambient, the disc cools by the curve. A gap that is NaN gives no time.
    """
    start, end, gap = (np.asarray(v, float) for v in (start, end, gap))
    gap = np.nan_to_num(gap, nan=0.0)
    share = (_GROWTH ** np.arange(NODES) - 1) / (_GROWTH ** (NODES - 1) - 1)
    time = gap[:, None] * share
    if curve is None:
        last = np.where(np.isnan(end), start, end)
        fraction = np.where(gap[:, None] > 0, time / np.where(gap > 0, gap, 1.0)[:, None], 0.0)
        return time, start[:, None] + (last - start)[:, None] * fraction
    begin = curve.time_at(start)
    free = curve.at(begin[:, None] + time)
    needed = curve.time_at(end) - begin
    warm_end = np.isfinite(end) & (end > curve.ambient + 30)
    plain = warm_end & (end < start) & (gap <= SLOWER * needed)
    scale = np.where(plain, needed / np.maximum(gap, 1e-9), 1.0)
    cooled = curve.at(begin[:, None] + time * scale[:, None])
    reheated = warm_end & ~plain
    return time, np.where(
        reheated[:, None], _reheated(start, end, gap, time, begin, curve), np.where(plain[:, None], cooled, free)
    )


def _reheated(start, end, gap, time, begin, curve) -> np.ndarray:
    """Cooling by the curve, then heating at a steady rate so that the pause ends at `end`."""
    low, high = np.zeros_like(gap), gap.copy()
    for _ in range(40):
        middle = (low + high) / 2
        over = curve.at(begin + middle) + HEATING_K_S * (gap - middle) > end
        low, high = np.where(over, middle, low), np.where(over, high, middle)
    turn = low[:, None]
    cooled = curve.at(begin[:, None] + np.minimum(time, turn))
    rising = np.maximum(time - turn, 0.0)
    left = np.maximum(gap[:, None] - turn, 1e-9)
    return cooled + (np.where(np.isnan(end), start, end)[:, None] - curve.at(begin[:, None] + turn)) * rising / left
