"""Heat capacity and enthalpy of graphite, for carbon discs.

Formula: Butland & Maddison, J. Nucl. Mater. 49 (1973), as printed in the NIST WebBook, 250 to 3000 K, cal/(g
K):

    cp = 0.538657 + 9.11129e-6 T - 90.2725/T - 43449.3/T^2 + 1.59309e7/T^3 - 1.43688e9/T^4

This is the 1973 version; a later one with other leading terms lies 2 % lower at 900 K and 4 % lower at 2000
K. The heat capacity of carbon triples between room temperature and 1500 K, so a constant value mistakes the
temperature rise of a stop by a factor of two. Outside 250 to 3000 K the value at the edge holds.
"""

import numpy as np

from pipeline.constants import Array, Values

RANGE_K = (250.0, 3000.0)
_J_PER_CAL_G = 4184.0
_A, _B, _C, _D, _E, _F = 0.538657, 9.11129e-6, -90.2725, -43449.3, 1.59309e7, -1.43688e9
_TABLE_STEP_K = 0.03


def heat_capacity(temperature: Values) -> Array:
    """cp in J/(kg K) at temperatures in K (array or number)."""
    t = np.clip(np.asarray(temperature, float), *RANGE_K)
    r = 1.0 / t
    return _J_PER_CAL_G * (_A + _B * t + r * (_C + r * (_D + r * (_E + r * _F))))


def enthalpy(temperature: Values) -> Array:
    """Heat in J/kg between 250 K and the temperatures in K: the integral of `heat_capacity`, in closed
    form."""
    return stored(temperature)[0]


def stored(temperature: Values) -> tuple[Array, Array]:
    """(`enthalpy`, `heat_capacity`) at temperatures in K: both from the same powers, for those that need the two."""
    t = np.asarray(temperature, float)
    inside = np.minimum(np.maximum(t, RANGE_K[0]), RANGE_K[1])
    r = 1.0 / inside
    capacity = _J_PER_CAL_G * (_A + _B * inside + r * (_C + r * (_D + r * (_E + r * _F))))
    return _antiderivative(inside, r) - _FROM + (t - inside) * capacity, capacity


def _antiderivative(t: Array, r: Array) -> Array:
    """The integral of cp at t in K, r its reciprocal."""
    return _J_PER_CAL_G * (t * (_A + t * _B / 2) + _C * np.log(t) - r * (_D + r * (_E / 2 + r * _F / 3)))


_FROM = _antiderivative(np.array(RANGE_K[0]), np.array(1 / RANGE_K[0]))


def temperature_of(heat: Values) -> Array:
    """Temperature in K at which `enthalpy` has the given value in J/kg: the inverse, to 1e-6 K.

    Straight lines through a table: what they miss is step^2 / 8 of the relative slope of cp, at its steepest 0.6 per cent a kelvin.
    """
    h = np.asarray(heat, float)
    t = np.interp(h, _TABLE_H, _TABLE_T)
    if h.size and not (
        h.min() >= 0 and h.max() <= _TABLE_H[-1]
    ):  # a value that is not known keeps nobody else from its edge
        t = np.where(h < 0, RANGE_K[0] + h / _EDGE_CP[0], t)
        t = np.where(h > _TABLE_H[-1], RANGE_K[1] + (h - _TABLE_H[-1]) / _EDGE_CP[1], t)
    return np.asarray(t, float)


_TABLE_T = np.linspace(*RANGE_K, round((RANGE_K[1] - RANGE_K[0]) / _TABLE_STEP_K) + 1)
_TABLE_H = enthalpy(_TABLE_T)
_EDGE_CP = heat_capacity(np.array(RANGE_K))
