"""A stop's trace for plots: conditioned samples, decimated."""

import numpy as np

from pipeline.conditioning.corrections import Conditioned
from pipeline.conditioning.survey import Braking
from pipeline.conditioning.time_base import within
from pipeline.constants import RPM, ZERO_C
from pipeline.stops.reduction import Friction

TRACE_POINTS = 80


def trace_of(c: Conditioned, friction: Friction, b: Braking, temperature: np.ndarray) -> dict[str, np.ndarray]:
    """Decimated trace from a little before to a little after the braking; mu outside the window is NaN.

    temperature: (n,) of the disc over the samples of `c`, K. Returns columns of traces.parquet, (m,) each.
    """
    inside = within(c.time, b.start_s - 0.2, b.end_s + 0.2).nonzero()[0]
    if not inside.size:
        return no_trace()
    pick = inside[np.linspace(0, inside.size - 1, min(TRACE_POINTS, inside.size)).round().astype(int)]
    return {
        "time_s": c.time[pick] - b.start_s,
        "speed_rpm": c.speed[pick] * RPM,
        "torque_nm": c.friction[pick],
        "pressure_bar": c.pressure[pick] / 1e5,
        "disc_temperature_c": temperature[pick] - ZERO_C,
        "mu": np.where(friction.inside[pick], friction.mu[pick], np.nan),
    }


def no_trace() -> dict[str, np.ndarray]:
    names = ("time_s", "speed_rpm", "torque_nm", "pressure_bar", "disc_temperature_c", "mu")
    return {name: np.empty(0) for name in names}
