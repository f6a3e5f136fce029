"""mu as grids over two conditions at a time, the others at the reference, with nothing outside the data.

A point is given where temperature is supported, both conditions are in range, and a stop lies nearby in both
taken together.
"""

from __future__ import annotations

import numpy as np

from pipeline.friction.map import FrictionMap
from pipeline.friction.selection import conditions
from pipeline.friction.support import near_in_two
from pipeline.results.friction_map import Surface

POINTS = 41
AXES = ("temperature_c", "pressure_bar", "speed_rpm", "energy_density_j_mm2")
TO_EDGE = {
    "temperature_c": lambda v: v - 273.15,
    "pressure_bar": lambda v: v / 1e5,
    "speed_rpm": lambda v: v * 30 / np.pi,
    "energy_density_j_mm2": lambda v: v / 1e6,
}
PAIRS = (("temperature_c", "energy_density_j_mm2"), ("pressure_bar", "speed_rpm"))


def surfaces(map_: FrictionMap) -> list[Surface]:
    """Grids of mu (rows of y): null where the data do not support a value; left out where a condition was
    not varied.
    """
    data = dict(zip(AXES, conditions(map_.stops, map_.temperature_kind), strict=True))
    found = []
    for x, y in PAIRS:
        if not (np.isfinite(data[x]).all() and np.isfinite(data[y]).all()):
            continue  # not recorded
        if np.ptp(data[x]) < 0.02 * abs(data[x].mean()) or np.ptp(data[y]) < 0.02 * abs(data[y].mean()):
            continue
        xs = np.linspace(data[x].min(), data[x].max(), POINTS)
        ys = np.linspace(data[y].min(), data[y].max(), POINTS)
        at: dict[str, np.ndarray | None] = dict.fromkeys(AXES) | {
            x: np.broadcast_to(xs, (POINTS, POINTS)).ravel(),
            y: np.repeat(ys, POINTS),
        }
        mu, se, supported = map_.predict(
            at["temperature_c"], at["pressure_bar"], at["speed_rpm"], at["energy_density_j_mm2"]
        )
        given = supported.reshape(POINTS, POINTS) & near_in_two(data[x], data[y], xs, ys)
        found.append(
            Surface(
                x=x,
                y=y,
                x_values=TO_EDGE[x](xs).round(3).tolist(),
                y_values=TO_EDGE[y](ys).round(4).tolist(),
                mu=rows(mu.reshape(POINTS, POINTS), given),
                u=rows(se.reshape(POINTS, POINTS), given),
            )
        )
    return found


def rows(values: np.ndarray, given: np.ndarray) -> list[list[float | None]]:
    return [
        [round(float(v), 5) if ok else None for v, ok in zip(line, good, strict=True)]
        for line, good in zip(values, given, strict=True)
    ]
