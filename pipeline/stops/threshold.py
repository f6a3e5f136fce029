"""Pressure at which the torque begins: the intercept of torque against pressure on the ramps of one braking.

Torque grows from the brake's threshold pressure on, so on the ramps T = k (p - p0). A pressure sensor whose zero or gain
moves takes p0 with it, which the energy balance cannot see. Friction that depends on pressure bends the line and shifts
p0 by the same amount in like stops: it is its change that tells, beside the threshold stated.
"""

import numpy as np

LOW, HIGH = 0.15, 0.8  # of the plateau: the part of a ramp that is used
FEWEST = 5


def ramp_intercept(
    time: np.ndarray, pressure: np.ndarray, torque: np.ndarray, *, start: float, end: float, plateau: float
) -> tuple[float, float] | None:
    """Intercept p0 (Pa) and its standard uncertainty, from the rise and the fall; None where neither has five samples.

    time (s), pressure (Pa above rest), torque (N m, offset and drag off, without lag): (n,); start, end of braking (s).
    """
    if not plateau > 0:
        return None
    with np.errstate(invalid="ignore"):
        part = (pressure > LOW * plateau) & (pressure < HIGH * plateau) & np.isfinite(torque)
        high = np.flatnonzero((pressure >= HIGH * plateau) & (time >= start) & (time <= end))
    if not high.size:
        return None
    index = np.arange(time.size)
    found = [
        fitted
        for ramp in (part & (index < high[0]) & (time > start - 0.2), part & (index > high[-1]) & (time < end + 0.2))
        if (fitted := _intercept(pressure[ramp], torque[ramp])) is not None
    ]
    if not found:
        return None
    weight = np.array([1 / u**2 for _, u in found])
    value = float(weight @ np.array([p0 for p0, _ in found]) / weight.sum())
    return value, float(1 / np.sqrt(weight.sum()))


def _intercept(pressure: np.ndarray, torque: np.ndarray) -> tuple[float, float] | None:
    n = pressure.size
    if n < FEWEST:
        return None
    x = torque - torque.mean()
    square = float(x @ x)
    if not square > 0:
        return None
    # Pressure on torque: the intercept at zero torque is then the fit's own constant.
    slope = float(x @ pressure) / square
    residual = pressure - pressure.mean() - slope * x
    sigma = float(np.sqrt(residual @ residual / (n - 2)))
    u = sigma * float(np.sqrt(1 / n + torque.mean() ** 2 / square))
    return float(pressure.mean() - slope * torque.mean()), max(u, 1e-3 * float(pressure.max()))
