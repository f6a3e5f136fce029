"""Bulk temperature of a disc: heat in, convection and radiation out.

    m cp(T) dT/dt = P(t) - (h0 + opening h1 v^0.8) (T - Ta) - eps sigma A (T^4 - Ta^4)

h0 and h1 are conductances of the whole disc in W/K and W/K per (m/s)^0.8; the natural part h0 stays when the
duct is closed. Solved in the stored heat H = m h(T), so that a heat capacity that rises with temperature
costs no accuracy: a braking adds its heat, cooling runs by the classical Runge-Kutta rule with steps that
follow the cooling time.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.constants import Array, Values
from pipeline.heat.capacity import Material, enthalpy, heat_capacity, temperature_of

STEFAN_BOLTZMANN = 5.670374419e-8


@dataclass(frozen=True)
class Disc:
    """What the bulk model needs of a disc: mass kg, material (see capacity), radiating = emissivity x area in
    m^2."""

    mass: float
    material: Material = "carbon"
    radiating: float = 0.0


def conductance(h0: Values, h1: Values, opening: Values, air_speed: Values) -> Array:
    """Convective conductance h0 + opening h1 v^0.8 in W/K; air speed in m/s."""
    return h0 + opening * h1 * np.maximum(np.asarray(air_speed, float), 0.0) ** 0.8


def loss(temperature: Values, ambient: Values, conductance: Values, disc: Disc) -> Array:
    """Heat lost in W at a bulk temperature in K."""
    t = np.asarray(temperature, float)
    squared = t * t  # a power of four is ten times as slow
    radiated = STEFAN_BOLTZMANN * disc.radiating * (squared * squared - np.asarray(ambient, float) ** 4)
    return conductance * (t - ambient) + radiated


def advance(
    temperature: Values,
    duration: Values,
    *,
    power: Values = 0.0,
    ambient: Values,
    conductance: Values,
    disc: Disc,
    step: float | None = None,
) -> Array:
    """Bulk temperature in K after `duration` s at a constant power in W. All arguments broadcast (arrays of
    discs or of openings run together); step in s is the longest step taken, by default an eighth of the
    fastest cooling time.
    """
    t, left, power, g = np.broadcast_arrays(
        np.asarray(temperature, float), np.asarray(duration, float), power, conductance
    )
    longest = float(np.max(left, initial=0.0))
    if longest <= 0:
        return t.astype(float)
    limit = step or _step_limit(t, power, left, g, disc)
    n = max(1, int(np.ceil(longest / limit)))
    h, dt = enthalpy(t, disc.material), left / n

    def rate(heat: Array) -> Array:
        return (power - loss(temperature_of(heat, disc.material), ambient, g, disc)) / disc.mass

    for _ in range(n):
        k1 = rate(h)
        k2 = rate(h + dt / 2 * k1)
        k3 = rate(h + dt / 2 * k2)
        k4 = rate(h + dt * k3)
        h = h + dt / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
    return temperature_of(h, disc.material)


def _step_limit(t: Array, power: Array, left: Array, g: Array, disc: Disc) -> float:
    hottest = temperature_of(enthalpy(t, disc.material) + np.maximum(power * left, 0) / disc.mass, disc.material)
    stiffness = g + 4 * STEFAN_BOLTZMANN * disc.radiating * np.asarray(hottest) ** 3
    capacity = disc.mass * heat_capacity(np.minimum(t, hottest), disc.material)
    return max(float(np.min(capacity / np.maximum(stiffness, 1e-9))) / 8, 1e-3)


def cooling_time(
    start: Values, end: Values, *, ambient: float, conductance: Values, disc: Disc, nodes: int = 65
) -> Array:
    """Time in s to cool from start to end (K), by quadrature of m cp dT / loss; infinite where end is not
    above ambient.

    start and end broadcast to arrays.
    """
    start, end = np.broadcast_arrays(np.asarray(start, float), np.asarray(end, float))
    reachable = (end > ambient) & (start >= end)
    low = np.where(reachable, end, ambient + 1.0)
    high = np.where(reachable, start, ambient + 2.0)
    # Gauss-Legendre in ln(T - Ta): the integrand is nearly constant there for convection.
    x, w = np.polynomial.legendre.leggauss(nodes)
    a, b = np.log(low - ambient)[..., None], np.log(high - ambient)[..., None]
    u = np.exp((a + b) / 2 + (b - a) / 2 * x)
    t = ambient + u
    per = disc.mass * heat_capacity(t, disc.material) / loss(t, ambient, conductance, disc)
    time = ((b - a)[..., 0] / 2) * (w * per * u).sum(-1)
    return np.where(reachable, time, np.where(start < end, 0.0, np.inf))


def braking_as_cooling(
    initial: Values, hottest: Values, duration: Values, ambient: Values, speed_start: Values, speed_end: Values
) -> Array:
    """Seconds at the `hottest` temperature in which a disc loses what it loses through a braking of `duration` s.

    A disc already warm loses heat from the first moment of a braking on, not only what the braking adds. At a
    constant deceleration from w0 to w1 the mean over the braking of the heat so far is (2 w0 + w1) / (3 (w0 + w1)) of
    the whole: a half at a held speed, two thirds down to rest. So the mean excess over ambient is

        (Ti - Ta) + (2 w0 + w1) / (3 (w0 + w1)) (T1 - Ti)

    Temperatures in K, speeds in any one unit; all arguments broadcast. The share is a half where speeds are not known.
    """
    initial, hottest = np.asarray(initial, float), np.asarray(hottest, float)
    first, last = np.asarray(speed_start, float), np.asarray(speed_end, float)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = (2 * first + last) / (3 * (first + last))
        share = np.where(np.isfinite(share), share, 0.5)
        excess = (initial - ambient) + share * (hottest - initial)
        return duration * np.maximum(excess, 0.0) / np.maximum(hottest - ambient, 1e-9)
