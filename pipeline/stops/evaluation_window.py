"""Evaluation window of a stop, and the short windows beside it.

It starts where the controlled quantity (pressure; torque where the rig controls torque or deceleration) first reaches
its share of the plateau, the median over the braking's last half, and ends at the end of braking or at 3 % of the
start speed above the end speed, whichever is first; of a drag at the end of braking. The end speed is the one that
the rig was told to brake to: while the pressure runs down the shaft goes on slowing, and a window that waits for the
speed left after that is too long where friction changes most. Where the schedule does not say it, or the rig let go
elsewhere, the speed at the release stands in for it. What is left out is not thrown away: the bite is the half second
from where pressure passes half its plateau.
"""

import numpy as np

from pipeline.conditioning.medians import median
from pipeline.conditioning.segments import END_MARGIN
from pipeline.conditioning.survey import speed_at
from pipeline.conditioning.time_base import median_known, rows_within, within

BITE_S = 0.5


def plateau(time: np.ndarray, level: np.ndarray, start: float, end: float) -> float:
    """Median of `level` over the last half of the braking from `start` to `end` (s); NaN without samples.

    time (s), level (any unit): (n,).
    """
    return median_known(level[rows_within(time, (start + end) / 2, end)])


def first_reaching(time: np.ndarray, level: np.ndarray, target: float, start: float, end: float) -> float | None:
    """Time (s) from `start` to `end` at which `level` first is at or above `target`, between samples; None if never.

    time (s), level (any unit): (n,); target in the unit of level.
    """
    inside = within(time, start, end)
    reached = inside & (level >= target)
    i = int(reached.argmax())
    if not reached[i]:
        return None
    if i in (0, inside.argmax()) or not np.isfinite(level[i - 1]) or level[i] == level[i - 1]:
        return max(float(time[i]), start)
    moment = time[i - 1] + (target - level[i - 1]) / (level[i] - level[i - 1]) * (time[i] - time[i - 1])
    return float(min(max(moment, time[i - 1]), time[i]))


LAST_SHARE = 0.2  # of the braking: how much before the release says what the level was
HELD_SHARE = 0.9  # of that level: below it the brake is being released


def release_speed(
    time: np.ndarray, level: np.ndarray, speed: np.ndarray, start: float, end: float, *, held: float
) -> float:
    """Speed (rad/s) where `level` last stands at its share of what it was before it fell; NaN without samples.

    What it was: its median over a fifth of the braking, up to where it last is above half its plateau. So a level
    that creeps through the braking is none the worse, nor one that falls slowly. A straight line through the speeds
    just before is read at that moment.
    time (s), level (any unit), speed (rad/s): (n,); start, end of braking (s); held: the level's plateau.
    """
    inside = within(time, start, end) & np.isfinite(level)
    low = np.flatnonzero(inside & (level >= 0.5 * held))
    if not low.size:
        return float("nan")
    fallen = time[low[-1]]
    usual = median(level[inside & within(time, fallen - LAST_SHARE * (end - start), fallen)])
    last = int(np.flatnonzero(inside & (time <= fallen) & (level >= HELD_SHARE * usual))[-1])
    near = slice(max(last - 9, 0), last + 1)
    return speed_at(time, speed, float(time[last]), near, near)


def commanded_end(release: float, wanted: float | None, speed_start: float, speed_end: float) -> float:
    """The end speed that bounds the window (rad/s): the wanted one if the rig let go there, else the speed at the
    release.

    Let go there: within END_MARGIN of the start speed. Without either, the speed at the end of braking.
    """
    if not np.isfinite(release):
        return speed_end
    if wanted is not None and abs(release - wanted) <= END_MARGIN * speed_start:
        return wanted
    return release


def window_end(
    time: np.ndarray, speed: np.ndarray, *, start: float, end: float, speed_start: float, speed_end: float, kind: str
) -> float:
    """End of the evaluation window (s): end of braking, or where speed first falls to its end plus 3 % of its start.

    speed_end: as `commanded_end` has it.
    time (s), speed (rad/s): (n,).
    """
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
    held: float,
    build_up: float,
    wanted_end: float | None = None,
) -> tuple[float, float] | None:
    """(start, end) of the evaluation window (s), or None where `level` never reaches its share or the end comes first.

    time (s), level (pressure above rest, or torque), speed (rad/s): (n,); start and end of braking (s); held: the
    level's plateau; wanted_end: speed that the schedule ends the braking at (rad/s), None where it is not known.
    """
    first = first_reaching(time, level, build_up * held, start, end)
    if first is None:
        return None
    bound = commanded_end(release_speed(time, level, speed, start, end, held=held), wanted_end, speed_start, speed_end)
    last = window_end(time, speed, start=start, end=end, speed_start=speed_start, speed_end=bound, kind=kind)
    return (first, last) if last > first else None


def bite_window(
    time: np.ndarray, pressure: np.ndarray, start: float, end: float, *, held: float
) -> tuple[float, float] | None:
    """The first half second from where pressure passes half its plateau, within the braking; None if it never does.

    time (s), pressure (above rest, any unit): (n,); start, end of braking (s); held: the pressure's plateau.
    """
    first = first_reaching(time, pressure, 0.5 * held, start, end)
    return None if first is None else (first, min(first + BITE_S, end))
