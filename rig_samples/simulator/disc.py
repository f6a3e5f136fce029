"""Temperature of the disc: heat capacity of carbon, conduction to the mid-plane, cooling.

Half the disc's thickness L takes the flux q on its face and is insulated at the mid-plane. The
temperature is split into the bulk mean, which follows the enthalpy, and the modes cos(n pi x / L) of a
plate insulated on both sides (Carslaw and Jaeger, Conduction of Heat in Solids, 1959, sec. 3.8):

    d a_n / dt = -a_n / tau_n + 2 q / (rho c L),   tau_n = L^2 / (n^2 pi^2 alpha)

with the surface at bulk + sum a_n. The modes left out follow the flux at once; together with those kept
their steady sum is q L / (3 k). rho c is taken at the bulk temperature.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m2 K4), CODATA 2018
MODES = 14


def carbon_heat_capacity(kelvin: np.ndarray | float) -> np.ndarray | float:
    """Heat capacity of carbon in J/(kg K), 250 to 3000 K.

    Butland and Maddison, J. Nucl. Mater. 49 (1973) 45, as printed in the NIST WebBook.
    """
    t = kelvin
    return 4184.0 * (0.538657 + 9.11129e-6 * t - 90.2725 / t - 43449.3 / t**2 + 1.59309e7 / t**3 - 1.43688e9 / t**4)


_KELVIN = np.arange(250.0, 2501.0, 1.0)
_CAPACITY = np.asarray(carbon_heat_capacity(_KELVIN))
_ENTHALPY = np.concatenate([[0.0], np.cumsum((_CAPACITY[1:] + _CAPACITY[:-1]) / 2.0)])


def heat_capacity(kelvin: float) -> float:
    """Tabulated heat capacity in J/(kg K), linear between whole kelvins."""
    x = kelvin - 250.0
    i = min(max(int(x), 0), len(_CAPACITY) - 2)
    return float(_CAPACITY[i] + (x - i) * (_CAPACITY[i + 1] - _CAPACITY[i]))


def enthalpy(kelvin: float | np.ndarray) -> float | np.ndarray:
    """Enthalpy over 250 K in J/kg."""
    return np.interp(kelvin, _KELVIN, _ENTHALPY)


def temperature_of(enthalpy_j_kg: float | np.ndarray) -> float | np.ndarray:
    """Temperature in K of an enthalpy over 250 K in J/kg."""
    return np.interp(enthalpy_j_kg, _ENTHALPY, _KELVIN)


@dataclass(frozen=True)
class Disc:
    """A disc and the air around it, SI."""

    mass: float = 1.77
    thickness: float = 0.028
    density: float = 1780.0
    conductivity: float = 30.0
    ring_area: float = 0.03550  # one face
    cooled_area: float = 0.095
    emissivity: float = 0.85
    loss_w_k: float = 21.0  # convection of the whole disc in the rig's air
    ambient: float = 295.15
    heating_k_s: float = 6.0  # what the rig's induction heater can do


def heat_loss(disc: Disc, face_k: float) -> float:
    """Heat in W that the disc gives to the rig's air and surroundings at a face temperature in K."""
    radiated = disc.emissivity * STEFAN_BOLTZMANN * disc.cooled_area * (face_k**4 - disc.ambient**4)
    return disc.loss_w_k * (face_k - disc.ambient) + radiated


def mode_decay(disc: Disc, kelvin: float) -> np.ndarray:
    """1/tau of each mode in 1/s at the bulk temperature."""
    n = np.arange(1, MODES + 1)
    depth = disc.thickness / 2.0
    diffusivity = disc.conductivity / (disc.density * heat_capacity(kelvin))
    return n**2 * np.pi**2 * diffusivity / depth**2


def step_factors(disc: Disc, kelvin: float, dt: float) -> tuple[np.ndarray, np.ndarray, float]:
    """Decay and gain of the modes over a step of constant flux, and the surface rise of the modes left out.

    Returns (decay, gain in K per W/m2, rest in K per W/m2), exact for a flux constant over the step.
    """
    rate = mode_decay(disc, kelvin)
    depth = disc.thickness / 2.0
    decay = np.exp(-rate * dt)
    steady = 2.0 / (disc.density * heat_capacity(kelvin) * depth) / rate
    rest = depth / (3.0 * disc.conductivity) - float(steady.sum())
    return decay, steady * (1.0 - decay), rest


def mode_shape(disc: Disc, below_surface: float) -> np.ndarray:
    """Value of each mode at a distance below the rubbing face, metres."""
    n = np.arange(1, MODES + 1)
    return np.cos(n * np.pi * below_surface / (disc.thickness / 2.0))


@dataclass(frozen=True)
class Cooldown:
    """Temperature of a disc left to cool: `seconds` from 1600 K, falling `kelvin`."""

    seconds: np.ndarray
    kelvin: np.ndarray

    def time_at(self, kelvin: float) -> float:
        """Time on the curve at which the disc has this temperature."""
        return float(np.interp(-kelvin, -self.kelvin, self.seconds))

    def after(self, kelvin: float, seconds: float | np.ndarray) -> np.ndarray:
        """Temperature after cooling for some seconds from a temperature."""
        return np.interp(self.time_at(kelvin) + seconds, self.seconds, self.kelvin)


@lru_cache(maxsize=32)
def cooldown(disc: Disc) -> Cooldown:
    """Cool-down curve of the disc in the rig's air, by convection and radiation.

    Time is found as a function of temperature, t = integral of m c dT / loss, on a grid that thickens
    towards ambient; the curve stops 0.2 K above it.
    """
    above = np.concatenate([np.geomspace(1600.0 - disc.ambient, 0.2, 4000)])
    kelvin = disc.ambient + above
    loss = disc.loss_w_k * above + disc.emissivity * STEFAN_BOLTZMANN * disc.cooled_area * (kelvin**4 - disc.ambient**4)
    per_kelvin = disc.mass * np.asarray(carbon_heat_capacity(kelvin)) / loss
    seconds = np.concatenate([[0.0], np.cumsum(-np.diff(kelvin) * (per_kelvin[1:] + per_kelvin[:-1]) / 2.0)])
    return Cooldown(seconds, kelvin)
