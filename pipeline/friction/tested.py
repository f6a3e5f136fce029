"""Where a curve at stated conditions leaves what the map's stops ran, by the rule of `pipeline.tested.run`.

A curve is drawn over all supported temperatures at one pressure, speed and energy density (the reference's, a corner's, the
target's). The map's effects carry it there from the temperatures at which those conditions were run; whether stops were run near,
temperature and conditions taken together, is told at every point.
"""

from __future__ import annotations

import numpy as np

from pipeline.constants import RAD_PER_S, ZERO_C, Array
from pipeline.friction.map import FrictionMap
from pipeline.results.friction_map import Window
from pipeline.results.support import Extrapolation
from pipeline.tested.run import ENERGY_DENSITY, POWER_DENSITY, PRESSURE, SPEED, TEMPERATURE, Flags, Run
from pipeline.tested.told import extrapolations

UNIT = {PRESSURE: 1e5, SPEED: RAD_PER_S, ENERGY_DENSITY: 1e6}
Conditions = tuple[float, float, float]  # Pa, rad/s, J/m2


def run_of(map_: FrictionMap) -> Run:
    """Conditions of a map's stops."""
    stops = map_.stops
    columns = {
        TEMPERATURE: f"temperature_{map_.temperature_kind}_c",
        PRESSURE: "pressure_bar",
        SPEED: "speed_start_rpm",
        ENERGY_DENSITY: "energy_density_j_mm2",
        POWER_DENSITY: "power_density_w_mm2",
    }
    none = np.full(len(stops), np.nan)
    return Run.of({d: stops[c].cast(float).to_numpy() if c in stops.columns else none for d, c in columns.items()})


def reference_conditions(map_: FrictionMap) -> Conditions:
    """Pressure, speed and energy density of the reference."""
    return map_.reference.pressure, map_.reference.speed, map_.reference.energy_density


def _points(run: Run, kelvin: Array, at: Conditions) -> Array:
    own = {direction: np.full(kelvin.size, value / UNIT[direction]) for direction, value in zip(UNIT, at, strict=True)}
    return run.points({TEMPERATURE: kelvin - ZERO_C, **own})


def along(map_: FrictionMap, kelvin: Array, at: Conditions) -> Flags:
    """Whether stops were run near each point of a curve, [n]."""
    run = run_of(map_)
    return run.covered(_points(run, kelvin, at))


def of_curve(map_: FrictionMap, kelvin: Array, at: Conditions, window: Window | None) -> list[Extrapolation]:
    """Where the curve (inside its window, if it has one) leaves what was run; shares are of its temperatures."""
    run, t = run_of(map_), np.asarray(kelvin, float)
    if window is not None:
        t = t[(t >= window.low_c + ZERO_C - 1e-6) & (t <= window.high_c + ZERO_C + 1e-6)]
    if not t.size:
        return []
    name = "friction curve" if window is None else "friction window"
    found = extrapolations(name, run, _points(run, t, at), np.gradient(t) if t.size > 1 else np.ones(1), numbered=False)
    return [entry for entry in found if entry.share is not None]
