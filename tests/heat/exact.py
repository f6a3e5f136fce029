"""Exact solutions that the heat models are held against: half space under a constant and a falling flux.

Carslaw & Jaeger, Conduction of Heat in Solids, 2.9. Times in s, flux in W/m^2, effusivity in W s^0.5/(m^2 K), rise in K.
"""

import numpy as np

_STEP = 2 / np.sqrt(np.pi)
_RAMP = 4 / (3 * np.sqrt(np.pi))


def rise_constant(time: np.ndarray, flux: np.ndarray, effusivity: np.ndarray) -> np.ndarray:
    """Surface rise in K at times in s since a constant flux in W/m^2 began."""
    t = np.maximum(np.asarray(time, float), 0.0)
    return _STEP * flux * np.sqrt(t) / effusivity


def rise_falling(time: np.ndarray, flux_start: np.ndarray, duration: np.ndarray, effusivity: np.ndarray) -> np.ndarray:
    """Surface rise in K under a flux falling linearly from flux_start in W/m^2 to zero at `duration`, and
    after it.

    Highest at half the duration: 0.531923 q0 sqrt(ts) / e, the exact value; handbooks print 0.527046.
    """
    t = np.maximum(np.asarray(time, float), 0.0)
    after = np.maximum(t - duration, 0.0)
    slope = flux_start / duration
    return (_STEP * flux_start * np.sqrt(t) - _RAMP * slope * (t**1.5 - after**1.5)) / effusivity
