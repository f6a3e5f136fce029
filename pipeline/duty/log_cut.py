"""A log cut into brakings: when the brakes were on, from what speed to what speed, and what lies between.

Braking is told, in this order of trust, by the line pressure (2 bar above its idle level), by the recorded deceleration, or by
the slope of the speed (a straight line through 0.6 s); each must rise above a threshold and counts until it falls below half of
it. What slows the vehicle less than the threshold (driving resistance, a lifted foot) is no event. Without a pressure a
vehicle that its own resistance slows by more cannot be told from a braked one: then the file's `braking_above` must say more.

The threshold finds a braking but is crossed late or early by an amount that depends on filter and level. So each edge is
moved to the kink of a broken line, continuous, that fits the raw speed about it best (least squares): the speeds and the time
are those of the constant deceleration that a duty's event stands for, whatever the rate of the log.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.conditioning.time_base import steps_in
from pipeline.constants import Array
from pipeline.duty.log_read import STANDING, LogData
from pipeline.errors import InputError
from pipeline.wording import counted, in_percent

BRAKING_ABOVE = 1.2  # m/s2; driving resistance and a lifted foot stay below it on the road (common practice)
PRESSED = 2e5  # Pa above the idle level
RELEASED = 0.5  # of either threshold
SLOPE_S = 0.6
SMOOTH_S = 0.3
MERGE_S = 0.5  # a shorter interruption belongs to one braking
LEAST_DROP = 5.0 / 3.6  # m/s
LEAST_S = 0.3
REACH_S = 1.0  # of the broken line on each side of an edge
SEARCH_S = 0.6
LEAST_KINK = 0.5  # m/s2
MOST_EVENTS = 2000  # as of a duty's file
MISSING = 0.05  # share of a channel that may be missing where brakings are told by it
WORK_OFF, SHAPE_OFF = 0.10, 0.05  # relative mismatch that is told


@dataclass(frozen=True)
class Edge:
    """Where a braking begins or ends: s and m/s."""

    time: float
    speed: float


@dataclass(frozen=True)
class Braking:
    """One event. work: integral of recorded deceleration x speed over the change of v^2 / 2, None without the channel; shape:
    path braked over that of a constant deceleration."""

    begin: Edge
    end: Edge
    then: float
    at: float
    shape: float
    work: float | None = None

    @property
    def seconds(self) -> float:
        return self.end.time - self.begin.time

    @property
    def deceleration(self) -> float:
        return (self.begin.speed - self.end.speed) / self.seconds


@dataclass(frozen=True)
class Brakings:
    """All events of a log. lead: time before the first, in s, counted to the last one's `then`: the cycle repeats itself.
    work: of all events together, as a Braking's."""

    events: tuple[Braking, ...]
    told_by: str
    lead: float
    work: float | None
    notes: tuple[str, ...]


def cut(log: LogData, above: float | None = None) -> Brakings:
    """The log's brakings; `above`: deceleration in m/s2 that counts as braking. Raises InputError where there are none."""
    told, on, notes = _signal(log, above)
    spans = _spans(on, log.time)
    spans = [(a, b) for a, b in spans if b > a]
    rough = [(a, b) for a, b in spans if log.speed[a] - log.speed[b] >= LEAST_DROP and _seconds(log, a, b) >= LEAST_S]
    if not rough:
        raise InputError(f"no braking found, told by {told}{_hint(log, above)}")
    if len(rough) > MOST_EVENTS:
        raise InputError(f"holds {counted(len(rough), 'braking')}; a cycle takes {MOST_EVENTS} at most: divide the log")
    notes += _passed_over(log, [span for span in spans if span not in rough], rough)
    edges = [_edges(log, rough, k) for k in range(len(rough))]
    edges = [(begin, end) for begin, end in edges if end.time > begin.time and begin.speed > end.speed]
    events = _with_pauses(log, edges)
    if rough[0][0] == 0:
        notes.append("the log begins inside a braking, which counts from there on")
    if rough[-1][1] >= len(log.time) - 1:
        notes.append("the log ends inside a braking, which counts until there")
    work = None
    if log.deceleration is not None:
        events = [replace(e, work=_work(log, e)) for e in events]
        known = [(e.work, e.begin.speed**2 - e.end.speed**2) for e in events if e.work is not None]
        work = sum(w * k for w, k in known) / sum(k for _, k in known) if known else None
    return Brakings(tuple(events), told, edges[0][0].time, work, tuple(notes + _mismatch(events, work)))


def slope(log: LogData) -> Array:
    """Deceleration in m/s2 by the slope of the straight line through SLOPE_S of the speed, on the log's own times."""
    step = float(np.median(np.diff(log.time)))
    even = np.arange(0.0, log.time[-1] + step / 2, step)
    width = max(steps_in(SLOPE_S, step) | 1, 5)
    speed = np.interp(even, log.time, log.speed)
    if speed.size <= width:
        return np.zeros_like(log.time)
    lever = np.arange(width) - width // 2
    further = np.pad(speed, width // 2, mode="reflect", reflect_type="odd")  # goes on as it begins and ends
    falling = np.correlate(further, -lever / (float(lever @ lever) * step), mode="valid")
    return np.interp(log.time, even, falling)


def _signal(log: LogData, above: float | None) -> tuple[str, np.ndarray, list[str]]:
    """(what tells braking, where it is on with hysteresis, notes)"""
    notes: list[str] = []
    moving = log.speed > STANDING
    for name, values in (("pressure", log.pressure), ("deceleration", log.deceleration)):
        if values is None:
            continue
        missing = float((~np.isfinite(values)).mean())
        if missing > MISSING:
            notes.append(f"{in_percent(missing)} of the log's {name} is missing: brakings are told without it")
            continue
        if name == "pressure" and above is None:
            level = _smooth(log.time, values, SMOOTH_S / 3)
            return "line pressure", _hysteresis(level - np.quantile(level, 0.1), PRESSED) & moving, notes
        if name == "deceleration":
            level, by_speed = _smooth(log.time, values, SMOOTH_S), slope(log)
            if float(np.nansum(level * by_speed)) < 0:
                raise InputError("deceleration is negative where the vehicle slows; log it positive in braking")
            return "recorded deceleration", _hysteresis(level, above or BRAKING_ABOVE) & moving, notes
    limit = above or BRAKING_ABOVE
    notes.append(
        f"brakings are told by the slope of the speed, above {limit:.2g} m/s²: resistance that slows the vehicle by more counts "
        "as braking; a line pressure or log.braking_above tells it better"
    )
    return "slope of the speed", _hysteresis(slope(log), limit), notes


def _smooth(time: Array, values: Array, seconds: float) -> Array:
    """Running mean over `seconds`, holes bridged."""
    from scipy.ndimage import uniform_filter1d

    known = np.isfinite(values)
    whole = np.interp(time, time[known], values[known])
    width = max(round(seconds / float(np.median(np.diff(time)))) | 1, 1)
    return np.asarray(uniform_filter1d(whole, width, mode="nearest"), float)


def _hysteresis(level: Array, on: float) -> np.ndarray:
    """Where the level lies above half of `on` in one stretch that reaches `on`."""
    held = level > RELEASED * on
    number = np.cumsum(np.r_[held[0], held[1:] & ~held[:-1]])
    reached = np.unique(number[held & (level > on)])
    return held & np.isin(number, reached)


def _spans(on: np.ndarray, time: Array) -> list[tuple[int, int]]:
    """First and last sample of each stretch, those closer than MERGE_S made one."""
    change = np.flatnonzero(np.diff(np.r_[0, on.astype(int), 0]))
    spans: list[tuple[int, int]] = []
    for first, last in zip(change[::2].tolist(), (change[1::2] - 1).tolist(), strict=True):
        if spans and time[first] - time[spans[-1][1]] < MERGE_S:
            spans[-1] = (spans[-1][0], last)
        else:
            spans.append((first, last))
    return spans


def _seconds(log: LogData, first: int, last: int) -> float:
    return float(log.time[last] - log.time[first])


def _hint(log: LogData, above: float | None) -> str:
    hardest = float(np.max(slope(log)))
    limit = above or BRAKING_ABOVE
    return (
        f": the speed falls by {hardest:.2g} m/s² at most, braking counts above {limit:.2g}; check the unit of speed and time, "
        "or set log.braking_above"
    )


def _passed_over(log: LogData, slight: list[tuple[int, int]], kept: list[tuple[int, int]]) -> list[str]:
    """What was braked and is no event: dabs, and a brake held without slowing, whose heat no change of speed tells."""
    square = log.speed**2
    heat = sum(max(square[a] - square[b], 0.0) for a, b in slight) / max(
        sum(square[a] - square[b] for a, b in kept), 1e-9
    )
    said = []
    if slight and heat > 0.01:
        said.append(
            f"{counted(len(slight), 'braking')} by less than 5 km/h left out, {in_percent(heat)} of the others' energy"
        )
    held = sum(_seconds(log, a, b) for a, b in slight if log.speed[a] - log.speed[b] < LEAST_DROP)
    if held > 10.0:
        said.append(
            f"the brake is on for {held:.0f} s without slowing the vehicle (a gradient?): that heat is in no event, and the "
            "temperatures are too low by it"
        )
    return said


def _edges(log: LogData, rough: list[tuple[int, int]], k: int) -> tuple[Edge, Edge]:
    """Begin and end of a braking at the kinks of the speed."""
    first, last = rough[k]
    start, stop = float(log.time[first]), float(log.time[last])
    before = float(log.time[rough[k - 1][1]]) if k else 0.0
    after = float(log.time[rough[k + 1][0]]) if k + 1 < len(rough) else float(log.time[-1])
    inside = min(REACH_S, (stop - start) / 2)
    begin = _kink(log, start, min(REACH_S, (start - before) / (2 if k else 1)), inside, first)
    end = _kink(log, stop, inside, min(REACH_S, (after - stop) / (2 if k + 1 < len(rough) else 1)), last)
    standing = log.speed[(log.time > end.time) & (log.time < end.time + REACH_S)]
    if standing.size and float(standing.mean()) < STANDING:
        end = Edge(end.time, 0.0)
    return begin, end


def _kink(log: LogData, about: float, before: float, after: float, sample: int) -> Edge:
    """Where two lines that meet fit the speed best, within SEARCH_S of `about`; the sample where there is no kink."""
    plain = Edge(about, float(log.speed[sample]))
    low, high = np.searchsorted(log.time, [about - before - SEARCH_S / 2, about + after + SEARCH_S / 2])
    low = max(low, int(np.searchsorted(log.time, about - before, side="left")))
    time, speed = log.time[low:high], log.speed[low:high]
    if time.size < 6:
        return plain
    best, width = about, SEARCH_S
    for spacing in (0.1, 0.02, 0.004):
        steps = np.arange(best - width, best + width + spacing / 2, spacing)
        steps = steps[(steps > time[1]) & (steps < time[-2])]
        if not steps.size:
            return plain
        errors, bent = _bent(time, speed, steps)
        found = int(np.argmin(errors))
        best, width = float(steps[found]), 1.5 * spacing
    level, left, right = bent[found]
    return Edge(best, max(float(level), 0.0)) if abs(right - left) > LEAST_KINK else plain


def _bent(time: Array, speed: Array, at: Array) -> tuple[Array, Array]:
    """(squared misfit [k]; speed at the kink, slope before, slope after [k, 3]) of the line bent at each of `at` [k], by normal equations."""
    x = time - at[:, None]
    design = np.stack([np.ones_like(x), np.minimum(x, 0), np.maximum(x, 0)], axis=1)
    beta = np.linalg.solve(design @ design.transpose(0, 2, 1), (design @ speed)[..., None])[..., 0]
    misfit = speed - np.einsum("kp,kpn->kn", beta, design)
    return np.einsum("kn,kn->k", misfit, misfit), beta


def _with_pauses(log: LogData, edges: list[tuple[Edge, Edge]]) -> list[Braking]:
    """Events with the time until the next; after the last to the log's end and from its start to the first.

    The speed of a pause is the one that cools alike: its power 0.8 is the mean of v^0.8, which is less than that of the mean
    speed where the vehicle stands and drives.
    """
    path, wind = (_integral(log.time, values) for values in (log.speed, log.speed**0.8))

    def at(time: float, of: Array = path) -> float:
        return float(np.interp(time, log.time, of))

    events = []
    for k, (begin, end) in enumerate(edges):
        if k + 1 < len(edges):
            following = edges[k + 1][0].time
            then, blown = following - end.time, at(following, wind) - at(end.time, wind)
        else:
            first = edges[0][0].time
            then = float(log.time[-1]) - end.time + first
            blown = float(wind[-1]) - at(end.time, wind) + at(first, wind)
        braked = (at(end.time) - at(begin.time)) / ((begin.speed + end.speed) / 2 * (end.time - begin.time))
        events.append(Braking(begin, end, max(then, 0.0), (blown / then) ** 1.25 if then > 0 else 0.0, braked))
    return events


def _integral(time: Array, values: Array) -> Array:
    return np.r_[0.0, np.cumsum(np.diff(time) * (values[1:] + values[:-1]) / 2)]


def _work(log: LogData, event: Braking) -> float | None:
    """Integral of the recorded deceleration over the path, over the change of v^2 / 2."""
    assert log.deceleration is not None
    inside = (log.time >= event.begin.time - 0.3) & (log.time <= event.end.time + 0.1)
    known = inside & np.isfinite(log.deceleration)
    if known.sum() < 4 or known.sum() < 0.8 * inside.sum():
        return None
    work = float(np.trapezoid(np.maximum(log.deceleration[known], 0) * log.speed[known], log.time[known]))
    return work / ((event.begin.speed**2 - event.end.speed**2) / 2)


def _mismatch(events: list[Braking], work: float | None) -> list[str]:
    said = []
    if work is not None and abs(work - 1) > WORK_OFF:
        said.append(
            f"the recorded deceleration does {in_percent(work)} of the work that the speeds tell: gradients, or one of both is out of "
            "scale; the energies are those of the speeds"
        )
    odd = [k for k, e in enumerate(events, start=1) if abs(e.shape - 1) > SHAPE_OFF]
    if odd:
        these = ", ".join(map(str, odd[:6])) + (" ..." if len(odd) > 6 else "")
        said.append(
            f"not at a constant deceleration (path braked off by more than {in_percent(SHAPE_OFF)}): events {these}"
        )
    return said
