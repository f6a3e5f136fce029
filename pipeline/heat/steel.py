"""Heat capacity and enthalpy of steel, for steel discs or where no data of an iron disc are given.

Formula: EN 1993-1-2:2005, 3.4.1.2, 20 to 1200 degC, with the peak of the phase change at 735 degC. Its four
pieces meet within 0.4 J/(kg K). Outside 20 to 1200 degC the value at the edge holds.
"""

import numpy as np

from pipeline.constants import ZERO_C, Array, Values

RANGE_K = (293.15, 1473.15)


def heat_capacity(temperature: Values) -> Array:
    """cp in J/(kg K) at temperatures in K (array or number)."""
    t = np.clip(np.asarray(temperature, float), *RANGE_K) - ZERO_C
    cold = 425 + 0.773 * t - 1.69e-3 * t**2 + 2.22e-6 * t**3
    rising = 666 + 13002 / np.maximum(738 - t, 3.0)
    falling = 545 + 17820 / np.maximum(t - 731, 4.0)
    return np.select([t < 600, t < 735, t < 900], [cold, rising, falling], 650.0)


def enthalpy(temperature: Values) -> Array:
    """Heat in J/kg between 20 degC and the temperatures in K: the integral of `heat_capacity`, in closed
    form."""
    t = np.asarray(temperature, float)
    inside = np.clip(t, *RANGE_K)
    beyond = (t - inside) * heat_capacity(t)
    c = inside - ZERO_C
    return sum(_piece(c, k) - _piece(np.array(20.0), k) for k in range(4)) + beyond


_EDGES_C = (20.0, 600.0, 735.0, 900.0, 1200.0)


def _piece(t: Array, k: int) -> Array:
    """Antiderivative of the k-th piece up to t degC, held at the piece's ends outside it."""
    t = np.clip(t, _EDGES_C[k], _EDGES_C[k + 1])
    if k == 0:
        return 425 * t + 0.773 * t**2 / 2 - 1.69e-3 * t**3 / 3 + 2.22e-6 * t**4 / 4
    if k == 1:
        return 666 * t - 13002 * np.log(738 - t)
    if k == 2:
        return 545 * t + 17820 * np.log(t - 731)
    return 650.0 * t


def temperature_of(heat: Values) -> Array:
    """Temperature in K at which `enthalpy` has the given value in J/kg: the inverse, to 0.02 K.

    By table alone: Newton steps jump about at the peak of the phase change.
    """
    h = np.asarray(heat, float)
    t = np.interp(h, _TABLE_H, _TABLE_T)
    t = np.where(h < 0, RANGE_K[0] + h / _EDGE_CP[0], t)
    return np.where(h > _TABLE_H[-1], RANGE_K[1] + (h - _TABLE_H[-1]) / _EDGE_CP[1], t)


_TABLE_T = np.arange(RANGE_K[0], RANGE_K[1] + 0.1, 0.2)
_TABLE_H = enthalpy(_TABLE_T)
_EDGE_CP = heat_capacity(np.array(RANGE_K))
