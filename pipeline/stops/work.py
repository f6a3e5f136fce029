"""Work, distance and deceleration of one braking.

Integrals run from brake start to brake end by the trapezium rule, the ends between samples interpolated. Mean fully
developed deceleration is taken over distance: (vb^2 - ve^2) / (25.92 (se - sb)) in km/h and m, vb = 0.8 v0, ve = 0.1 v0
(UN R13).
"""

import numpy as np

from pipeline.conditioning.time_base import all_known, increases, picking


def between(time: np.ndarray, start: float, end: float, *series: np.ndarray) -> tuple[np.ndarray, ...]:
    """Times from `start` to `end` with both ends added, and each series on them; missing samples are bridged
    linearly.

    time (s): (n,), increasing; series: (n,) each. Returns (m,) each.
    """
    inside = picking((time > start) & (time < end))
    grid = np.concatenate([[start], time[inside], [end]])
    result = [grid]
    for values in series:
        if increases(time) and all_known(values):
            first, last = np.interp([start, end], time, values)
            result.append(np.concatenate([[first], values[inside], [last]]))
        else:
            good = np.isfinite(values)
            result.append(np.interp(grid, time[good], values[good]) if good.any() else np.full(grid.size, np.nan))
    return tuple(result)


def work(time: np.ndarray, torque: np.ndarray, speed: np.ndarray) -> float:
    """Integral of torque (N m) times speed (rad/s) over time (s): J.

    time, torque, speed: (n,).
    """
    return integral(torque * speed, time)


def integral(values: np.ndarray, time: np.ndarray) -> float:
    """Integral of values over time (s), both (n,), by the trapezium rule: numpy's to the last bit."""
    return float(np.add.reduce((time[1:] - time[:-1]) * (values[1:] + values[:-1]) / 2.0))


def kinetic_energy(inertia: float, speed_start: float, speed_end: float) -> float:
    """Energy given up by an inertia (kg m^2) from one speed to another (rad/s): J."""
    return 0.5 * inertia * (speed_start**2 - speed_end**2)


def revolutions(time: np.ndarray, speed: np.ndarray) -> float:
    """Turns of the shaft over `time` (s) at `speed` (rad/s).

    time, speed: (n,).
    """
    return integral(speed, time) / (2 * np.pi)


def sliding_distance(time: np.ndarray, speed: np.ndarray, radius: float) -> float:
    """Distance at `radius` (m) over `time` (s) at `speed` (rad/s): m.

    time, speed: (n,).
    """
    return 2 * np.pi * radius * revolutions(time, speed)


def fully_developed(speed_b: float, speed_e: float, distance_b: float, distance_e: float) -> float:
    """Deceleration (m/s^2) averaged over the distance (m) between two speeds (km/h). UN R13: 25.92 = 2 x 3.6^2."""
    return (speed_b**2 - speed_e**2) / (25.92 * (distance_e - distance_b))


def mean_fully_developed_deceleration(time: np.ndarray, velocity: np.ndarray) -> float | None:
    """Mean fully developed deceleration (m/s^2) from velocity (m/s) over time (s), both (n,) over the braking.

    None where the braking does not come down to a tenth of its start, or distance does not grow.
    """
    if time.size < 3 or not velocity[0] > 0:
        return None
    distance = np.r_[0.0, np.cumsum(np.diff(time) * (velocity[1:] + velocity[:-1]) / 2)]
    at = []
    for share in (0.8, 0.1):
        target = share * velocity[0]
        below = np.flatnonzero(velocity <= target)
        if not below.size or below[0] == 0:
            return None
        i = int(below[0])
        # Within one step deceleration is constant: v^2 is linear in distance.
        squares = velocity[i - 1] ** 2, velocity[i] ** 2
        part = (squares[0] - target**2) / (squares[0] - squares[1])
        at.append(distance[i - 1] + part * (distance[i] - distance[i - 1]))
    if not at[1] > at[0]:
        return None
    return fully_developed(0.8 * velocity[0] * 3.6, 0.1 * velocity[0] * 3.6, at[0], at[1])


def energy_ratio(work: float, drag_work: float, kinetic: float, drive_work: float | None = None) -> float | None:
    """Work at the brake and in the bearings over the energy taken from the shaft (all J); None where that is not
    positive.
    """
    given = kinetic + (drive_work or 0.0)
    if not (np.isfinite(work) and np.isfinite(drag_work) and np.isfinite(given)) or given <= 0:
        return None
    return float((work + drag_work) / given)
