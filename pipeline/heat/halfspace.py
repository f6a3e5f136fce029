"""Surface temperature rise of a half space under a heat flux.

Constant properties; effusivity e = sqrt(k rho c). Carslaw & Jaeger, Conduction of Heat in Solids, 2.9: a
constant flux q gives 2 q sqrt(t/pi) / e, a flux that grows as s t gives 4 s t^(3/2) / (3 sqrt(pi) e). A flux
sampled in time is read as piecewise linear, and its rise is the exact sum of such ramps, one where each slope
changes. Good while heat has not reached the middle of the disc, t below a tenth of L^2/alpha; beyond that use
`pipeline.heat.slab`.
"""

import numpy as np

from pipeline.constants import Array, Values

_STEP = 2 / np.sqrt(np.pi)
_RAMP = 4 / (3 * np.sqrt(np.pi))


def effusivity(conductivity: Values, density: Values, heat_capacity: Values) -> Array:
    """sqrt(k rho c) in W s^0.5/(m^2 K), from W/(m K), kg/m^3 and J/(kg K)."""
    return np.sqrt(np.asarray(conductivity, float) * density * heat_capacity)


def rise_sampled(time: Array, flux: Array, effusivity: Values) -> Array:
    """Surface rise in K at each sample of a flux in W/m^2 sampled at increasing times in s.

    time [n]; flux [n] or [stops, n]; returns the flux's shape. The surface starts without a rise at time[0];
    flux[0] sets in there as a step. Memory goes with n^2: decimate to a few hundred samples first.
    Raises ValueError for times that do not increase, or a flux of another length.
    """
    t = np.asarray(time, float)
    q = np.atleast_2d(np.asarray(flux, float))
    if t.ndim != 1 or q.shape[-1] != t.size or t.size < 2 or not (np.diff(t) > 0).all():
        raise ValueError("rise_sampled needs increasing times, at least two, and a flux at each")
    slope = np.diff(q, axis=-1) / np.diff(t)
    change = np.diff(slope, axis=-1, prepend=0.0)
    lag = np.maximum(t[:, None] - t[None, :-1], 0.0)
    rise = (_STEP * q[:, :1] * np.sqrt(t - t[0]) + _RAMP * change @ (lag**1.5).T) / effusivity
    return rise.reshape(np.shape(flux))
