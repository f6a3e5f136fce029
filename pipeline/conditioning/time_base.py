"""Time base: the step, its gaps and its faults.

Nothing is repaired. A gap is a step longer than a few median steps; time that does not increase is a fault of its own.
What lies on both sides of a gap is never filtered or integrated as one stretch.

Moments often fall on a sample: a window of 0.1 s at 50 Hz ends on the fifth. Whether that sample counts must not hang on the last
digit in which a time is written. So a sample that misses a moment by at most EDGE of a step is at it.
"""

import weakref
from typing import NamedTuple

import numpy as np

from pipeline.conditioning.medians import median, quantiles

EDGE = 0.01  # of a step; times in microseconds miss by 0.0005 of it at 1 kHz, the last digit of a number by far less


def row_at(time: np.ndarray, moment: float, low: int, high: int) -> int:
    """First row from `low` to `high` whose time (s), (n,), is not before `moment`."""
    if high <= low:
        return low
    part = time[low:high]
    i = int(np.searchsorted(part, moment))
    if i > 0:
        step = part[i] - part[i - 1] if i < part.size else part[-1] - part[max(part.size - 2, 0)]
        i -= bool(moment - part[i - 1] <= EDGE * step)
    return low + i


def not_before(time: np.ndarray, moment: float) -> np.ndarray:
    """Which samples lie at a moment (s) or later; time: (n,) s."""
    return within(time, moment, np.inf)


def not_after(time: np.ndarray, moment: float) -> np.ndarray:
    """Which samples lie at a moment (s) or earlier; time: (n,) s."""
    return within(time, -np.inf, moment)


def within(time: np.ndarray, start: float, end: float) -> np.ndarray:
    """Which samples lie from `start` to `end` (s), both included; time: (n,) s."""
    rows = rows_within(time, start, end)
    if not isinstance(rows, slice):
        return rows
    inside = np.zeros(time.size, dtype=bool)
    inside[rows] = True
    return inside


def rows_within(time: np.ndarray, start: float, end: float) -> slice | np.ndarray:
    """What picks the samples that `within` has: of times (n,) that increase a slice, which copies nothing."""
    base = _time_base(time)
    slack = EDGE * base.step if base.step > 0 else 0.0
    if not (base.increasing and start <= end):
        return np.asarray((time >= start - slack) & (time <= end + slack))
    return slice(int(time.searchsorted(start - slack)), int(time.searchsorted(end + slack, "right")))


def picking(mask: np.ndarray) -> slice | np.ndarray:
    """What picks the samples of a mask (n,): where they follow one another a slice, which copies nothing."""
    count = np.count_nonzero(mask)
    first = int(mask.argmax()) if count else 0
    run = slice(first, first + count)
    return run if np.count_nonzero(mask[run]) == count else mask


def steps_in(seconds: float, step: float) -> int:
    """Steps that a time (s) is nearest to; a half counts up, whatever the last digit of the step."""
    return int(np.floor(seconds / step + 0.5 + EDGE))


def steps_to_hold(seconds: float, step: float) -> int:
    """Fewest steps that last at least a time (s)."""
    return int(np.ceil(seconds / step - EDGE))


def median_known(values: np.ndarray) -> float:
    """Median of the finite values; NaN where there are none.

    values: (n,), any unit.
    """
    finite = known_of(values)
    return median(finite) if finite.size else float("nan")


def known_of(values: np.ndarray) -> np.ndarray:
    """The finite values of (n,); the array itself where all are."""
    return values if all_known(values) else values[np.isfinite(values)]


def all_known(values: np.ndarray) -> bool:
    """Whether all of (n,) are finite."""
    return bool(np.count_nonzero(np.isfinite(values)) == values.size)  # half the time of all()


class TimeBase(NamedTuple):
    """Median of the increasing steps and the longest step (s), NaN without; whether every step increases."""

    step: float
    longest: float
    increasing: bool


_known: dict[int, tuple[weakref.ref[np.ndarray], TimeBase]] = {}  # of times that cannot change, as long as they last


def median_step(time: np.ndarray) -> float:
    """Median of the increasing steps of `time` (s); NaN where there are fewer than two samples.

    time: (n,).
    """
    return _time_base(time).step


def increases(time: np.ndarray) -> bool:
    """Whether every step of `time`, (n,) s, increases."""
    return _time_base(time).increasing


def _time_base(time: np.ndarray) -> TimeBase:
    """A stop asks for that of the same samples some forty times: of an array that is read-only it is kept."""
    key = id(time)
    if (kept := _known.get(key)) is not None:
        return kept[1]
    steps = time[1:] - time[:-1]
    longest = float(steps.max()) if steps.size else float("nan")
    increasing = bool(not steps.size or (steps.min() > 0 and longest < np.inf))
    if not increasing:
        steps = steps[(steps > 0) & (steps < np.inf)]
    found = TimeBase(median(steps) if steps.size else float("nan"), longest, increasing)
    if not time.flags.writeable:
        _known[key] = weakref.ref(time, lambda _: _known.pop(key, None)), found
    return found


def jitter(time: np.ndarray) -> float:
    """Half the spread of the central 90 % of the steps over their median (1); NaN without two steps.

    time: (n,) s.
    """
    steps = time[1:] - time[:-1]
    if not increases(time):
        steps = steps[np.isfinite(steps) & (steps > 0)]
    if steps.size < 2:
        return float("nan")
    low, high = quantiles(steps, 0.05, 0.95)
    return (high - low) / 2 / median_step(time)


def gap_indices(time: np.ndarray, *, periods: float, step: float | None = None) -> np.ndarray:
    """Indices i where the step from i to i + 1 is longer than `periods` median steps.

    time: (n,) s; step: the median step (s), found from `time` when not given.
    """
    step = median_step(time) if step is None else step
    if not np.isfinite(step):
        return np.empty(0, dtype=np.int64)
    return (time[1:] - time[:-1] > periods * step).nonzero()[0]


def backward_indices(time: np.ndarray) -> np.ndarray:
    """Indices i where time goes back from i to i + 1 (or one of the two is not a number).

    time: (n,) s.
    """
    return (~(time[1:] - time[:-1] >= 0)).nonzero()[0]


def repeated_indices(time: np.ndarray) -> np.ndarray:
    """Indices i where time stands still from i to i + 1, as it does when rounded to fewer digits than the rate
    needs.

    time: (n,) s.
    """
    return (time[1:] - time[:-1] == 0).nonzero()[0]


def unbroken(time: np.ndarray, values: np.ndarray, *, periods: float = 5.0) -> list[slice]:
    """Slices of samples that are finite in `values` and have no gap or backward step between them.

    time (s), values (any unit): (n,); periods: median steps from which on a step is a gap.
    """
    step, longest, increasing = _time_base(time)
    if time.size > 1 and increasing and longest <= periods * step and all_known(values):
        return [slice(0, time.size)]
    good = np.isfinite(values) & np.isfinite(time)
    broken = np.zeros(time.size, dtype=bool)  # broken[i]: i does not continue i - 1
    steps = time[1:] - time[:-1]
    broken[1:] = ~(steps >= 0)
    if np.isfinite(step):
        broken[1:] |= steps > periods * step
    if time.size and good.all() and not broken.any():
        return [slice(0, time.size)]
    starts = good & (broken | ~np.r_[False, good[:-1]])
    ends = good & ~np.r_[good[1:] & ~broken[1:], False]
    return [slice(int(a), int(b) + 1) for a, b in zip(np.flatnonzero(starts), np.flatnonzero(ends), strict=True)]


def widths(time: np.ndarray, *, longest: float = np.inf) -> np.ndarray:
    """Time that each sample stands for (s): half the step on either side, the trapezium rule's weights.

    Steps longer than `longest` count as that long, so that a gap is not filled with its neighbours' values.
    time: (n,) s; longest (s). Returns (n,) s.
    """
    if time.size < 2:
        return np.zeros(time.size)
    half = np.minimum(np.maximum(time[1:] - time[:-1], 0.0), longest) / 2
    result = np.zeros(time.size)
    result[:-1] += half
    result[1:] += half
    return result
