"""Where braking starts and ends.

Braking starts where the line pressure, above its value at rest, passes the on-threshold with the shaft turning, and
ends where it falls below the off-threshold (hysteresis) or the shaft is at the lower speed. Interruptions and
applications shorter than the minimum length do not count: a dropout of a few samples does not make two stops of one.
"""

import numpy as np

from pipeline.conditioning.rest import rest_pressure
from pipeline.conditioning.time_base import median_step, steps_in
from pipeline.method.segmentation import Segmentation

END_MARGIN = 0.03  # of the start speed above the end speed: there a braking has done what was wanted


def brakings(
    time: np.ndarray, speed: np.ndarray, pressure: np.ndarray, settings: Segmentation, *, rest: float | None = None
) -> list[slice]:
    """Slices of the samples in braking, in order; empty where pressure never passes the threshold.

    time (s), speed (rad/s), pressure (Pa) are (n,). `rest` is the pressure's value at rest; found from the samples when
    not given. A braking cut off by the recording's start or end is returned as far as it goes.
    """
    if time.size < 3:
        return []
    rest = rest_pressure(pressure) if rest is None else rest
    above = pressure - rest
    held = above > settings.off_pressure
    moving = speed > settings.lower_speed
    # A missing value says nothing: the state before it goes on.
    held, moving = _carried(held, np.isfinite(above)), _carried(moving, np.isfinite(speed))
    step = median_step(time)
    if not np.isfinite(step):
        return []
    shortest = max(steps_in(settings.least_duration, step), 2)
    bridge = max(steps_in(settings.least_interruption, step), 1)
    found = []
    for start, stop in runs(_bridged(held, bridge) & _bridged(moving, bridge)):
        passed = above[start:stop] > settings.on_pressure
        on = passed & (speed[start:stop] > settings.turning_speed)
        first = start + int(on.argmax())
        if not on[first - start]:
            continue
        if stop - first >= shortest and np.count_nonzero(passed[first - start :]) >= shortest // 2:
            found.append(slice(first, stop))
    return found


def runs(mask: np.ndarray) -> list[tuple[int, int]]:
    """(start, stop) of each run of true values.

    mask: (n,) bool; stop is one past the last.
    """
    if not mask.size:
        return []
    edges = ((mask[1:] != mask[:-1]).nonzero()[0] + 1).tolist()
    edges = [0] * bool(mask[0]) + edges + [mask.size] * bool(mask[-1])
    return list(zip(edges[::2], edges[1::2], strict=True))


def _carried(state: np.ndarray, known: np.ndarray) -> np.ndarray:
    if known.all():
        return state
    index = np.where(known, np.arange(state.size), 0)
    return state[np.maximum.accumulate(index)]


def _bridged(mask: np.ndarray, longest: int) -> np.ndarray:
    """The mask with interruptions of at most `longest` samples between true values filled."""
    result = mask.copy()
    for start, stop in runs(~mask):
        if start > 0 and stop < mask.size and stop - start <= longest:
            result[start:stop] = True
    return result


def crossing(time: np.ndarray, values: np.ndarray, level: float, index: int) -> float:
    """Time at which `values` passes `level` between samples index - 1 and index, by interpolation; time[index] else."""
    if index <= 0 or index >= time.size:
        return float(time[min(max(index, 0), time.size - 1)])
    a, b = values[index - 1], values[index]
    if not (np.isfinite(a) and np.isfinite(b)) or a == b or (a - level) * (b - level) > 0:
        return float(time[index])
    return float(time[index - 1] + (level - a) / (b - a) * (time[index] - time[index - 1]))
