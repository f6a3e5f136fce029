"""Temperature history of the rubbed surface: bulk from the record, the surface's excess from conduction.

While braking the bulk follows the heat put in (a thermocouple lags a stop of a few seconds by 100 K and more), with the
share of the heat that the test's own temperature rises show; afterwards it follows the thermocouple, the difference at brake
end fading over its settling time. The surface lies above the bulk by one-dimensional conduction under the stop's own
power (`pipeline.heat.slab`), in braking and while it evens out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.heat import slab
from pipeline.heat.capacity import Material, enthalpy

SETTLING_S = 1.0
LEAST_RISE_K = 30.0


@dataclass(frozen=True)
class Plate:
    """The disc's ring as half a plate on each face; SI. ring_area of one face."""

    ring_area: float
    thickness: float
    mass: float
    conductivity: float
    material: Material

    @property
    def density(self) -> float:
        """Of a plate that holds the disc's whole heat over its ring."""
        return self.mass / (self.ring_area * self.thickness)


def heat_share(initial, peak, energy, plate: Plate) -> float:
    """Share of the friction work that stays in the disc: median over stops [n] of the heat in the rise to the peak.

    initial, peak in K, energy in J; stops with too small a rise tell nothing; 1 where none does. Kept within 0.3 to 1.
    """
    usable = np.isfinite(initial) & np.isfinite(peak) & (peak - initial > LEAST_RISE_K) & (energy > 0)
    if not usable.any():
        return 1.0
    stored = plate.mass * (enthalpy(peak[usable], plate.material) - enthalpy(initial[usable], plate.material))
    return float(np.clip(np.median(stored / energy[usable]), 0.3, 1.0))


def histories(time, measured, power, duration, initial, plate: Plate, share: float):
    """(surface, bulk) in K, [stops, n], of stops with padded samples.

    time [stops, n] in s from brake start, never falling (padding repeats the last); measured in K; power in W of the whole brake,
    at the samples; duration [stops] in s; initial [stops] in K.
    """
    step = np.diff(time, axis=1, prepend=time[:, :1])
    between = (power + np.roll(power, 1, axis=1)) / 2
    between[:, 0] = 0.0
    braking = time <= duration[:, None] + 1e-9
    flux = np.where(step > 0, between, 0.0) * share / (2 * plate.ring_area)
    surface, mean = slab.conduct(
        time,
        flux,
        initial,
        half_thickness=plate.thickness / 2,
        conductivity=plate.conductivity,
        density=plate.density,
        material=plate.material,
    )
    rows = np.arange(len(time))
    last = np.maximum(braking.sum(axis=1) - 1, 0)
    ahead = mean[rows, last] - measured[rows, last]
    fading = ahead[:, None] * np.exp(-np.maximum(time - duration[:, None], 0) / SETTLING_S)
    bulk = np.where(braking, mean, measured + np.nan_to_num(fading))
    return bulk + (surface - mean), bulk
