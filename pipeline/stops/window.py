"""Evaluation window of a stop, and the short windows beside it.

It starts where the controlled quantity (pressure; torque where the rig controls torque or deceleration) first reaches its
share of the plateau, the median over the braking's last half, and ends at the end of braking or at 3 % of the start speed
above the end speed, whichever is first; of a drag at the end of braking. What is left out is not thrown away: the bite is
the half second from where pressure passes half its plateau.
"""

import numpy as np

END_MARGIN = 0.03
BITE_S = 0.5


def plateau(time: np.ndarray, level: np.ndarray, start: float, end: float) -> float:
    """Median of `level` over the last half of the braking from `start` to `end` (s); NaN without samples."""
    half = level[(time >= (start + end) / 2) & (time <= end)]
    half = half[np.isfinite(half)]
    return float(np.median(half)) if half.size else float("nan")


def first_reaching(time: np.ndarray, level: np.ndarray, target: float, start: float, end: float) -> float | None:
    """Time (s) from `start` to `end` at which `level` first is at or above `target`, between samples; None if never."""
    inside = np.flatnonzero((time >= start) & (time <= end))
    with np.errstate(invalid="ignore"):
        reached = inside[level[inside] >= target]
    if not reached.size:
        return None
    i = int(reached[0])
    if i == 0 or i == inside[0] or not np.isfinite(level[i - 1]) or level[i] == level[i - 1]:
        return float(time[i])
    moment = time[i - 1] + (target - level[i - 1]) / (level[i] - level[i - 1]) * (time[i] - time[i - 1])
    return float(np.clip(moment, time[i - 1], time[i]))


def window_end(
    time: np.ndarray, speed: np.ndarray, *, start: float, end: float, speed_start: float, speed_end: float, kind: str
) -> float:
    """End of the evaluation window (s): end of braking, or where speed first falls to its end plus 3 % of its start."""
    if kind == "drag":
        return end
    limit = speed_end + END_MARGIN * speed_start
    reached = first_reaching(time, -speed, -limit, start, end)
    return end if reached is None else min(end, reached)


def evaluation_window(
    time: np.ndarray,
    level: np.ndarray,
    speed: np.ndarray,
    *,
    start: float,
    end: float,
    speed_start: float,
    speed_end: float,
    kind: str,
    build_up: float,
) -> tuple[float, float] | None:
    """(start, end) of the evaluation window (s), or None where `level` never reaches its share or the end comes first.

    time (s), level (pressure above rest, or torque), speed (rad/s): (n,); start and end of braking (s).
    """
    first = first_reaching(time, level, build_up * plateau(time, level, start, end), start, end)
    if first is None:
        return None
    last = window_end(time, speed, start=start, end=end, speed_start=speed_start, speed_end=speed_end, kind=kind)
    return (first, last) if last > first else None


def bite_window(time: np.ndarray, pressure: np.ndarray, start: float, end: float) -> tuple[float, float] | None:
    """The first half second from where pressure passes half its plateau, within the braking; None if it never does."""
    first = first_reaching(time, pressure, 0.5 * plateau(time, pressure, start, end), start, end)
    return None if first is None else (first, min(first + BITE_S, end))
