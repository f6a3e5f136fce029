"""Control charts that need no trial period: individuals and EWMA of values whose level is learnt as they come.

A value x of group g (a batch, or one group for all) is held against the values of its group before it,

    r = (x - mean of the m before) sqrt(m / (m + 1)),        s^2 = mean of the r^2 before, on nu degrees of freedom
    known scatter:      z = r / sigma
    estimated scatter:  z = Phi^-1( T_nu(r / s) )

In control the z are independent and standard normal, whether the scatter is known or estimated (Quesenberry, Journal
of Quality Technology 23, 1991, p. 213; Hawkins, The Statistician 36, 1987, p. 299; both from memory), so that false
alarms are as rare as stated from the third value on; limits plugged in from so few values would be crossed many times
as often (`plugged_in`). What few values cost is power: a step is found later, and one in the first values is learnt
as the level.

Individuals signal beyond 3 standard deviations, the average w_i = w_(i-1) + 0.2 (z_i - w_(i-1)) beyond its limit. A
value that signals alone is not learnt as level once five are, and as scatter by its limit only. Where the average signals, its level began to move where the z divide
best in two (`drift.change_point`); from there on the level is learnt anew.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.special import ndtr, ndtri, stdtr, stdtrit

from pipeline.drift.change_point import change_of_level
from pipeline.drift.run_length import ewma_run_length, shewhart_run_length

WEIGHT = 0.2  # of the newest value in the average
WIDTH = 3.187  # limit of the average in its own standard deviations: one false alarm in 1000 values
SINGLE = 3.0  # limit of a single value
LEAST_LEVEL = 5  # values of a level from which one that signals alone is not learnt; of fewer, any may be the stray
LEAST_DF = 2  # degrees of freedom from which a scatter is used


@dataclass(frozen=True)
class Point:
    """A charted value. z: standardized, None while nothing judges it; low, high: limits of a single value."""

    z: float | None = None
    centre: float | None = None
    low: float | None = None
    high: float | None = None
    average: float | None = None
    signals: bool = False
    alarm: bool = False
    df: int | None = None  # behind its limits; None with known scatter or without limits


@dataclass(frozen=True)
class Move:
    """A level that moved. onset, alarm: numbers of the first value after it and of the one that found it; `earliest`
    the first that it may have begun with; shift and its standard uncertainty in the unit of the values, None where no
    group has values on both sides.
    """

    onset: int
    earliest: int
    alarm: int
    shift: float | None
    shift_u: float | None


@dataclass(frozen=True)
class Watched:
    """The whole chart: a point each value, the moves found, the scatter at the end (sigma None: not yet told)."""

    points: tuple[Point, ...]
    moves: tuple[Move, ...]
    sigma: float | None
    df: int | None
    stretches: tuple[int, ...]  # numbers of the values from which the level was learnt anew, the first 0


@dataclass
class _State:
    """What is known so far: per group sum and number of values in this stretch, and the scatter over all stretches."""

    sums: dict[str, tuple[float, int]] = field(default_factory=dict)
    squares: float = 0.0
    df: int = 0
    average: float = 0.0

    def learn(self, group: str, x: float) -> None:
        total, count = self.sums.get(group, (0.0, 0))
        self.sums[group] = (total + x, count + 1)


def limit_of_average() -> float:
    """The average's limit in standard deviations of a value."""
    return WIDTH * math.sqrt(WEIGHT / (2 - WEIGHT))


def run_lengths() -> tuple[float, float]:
    """Values to a false alarm, on average: of single values and of the average."""
    return shewhart_run_length(SINGLE), ewma_run_length(WEIGHT, WIDTH)


def plugged_in(values: int) -> float:
    """Values to a false alarm of a single one, were mean and standard deviation of so few taken for the truth."""
    if values < 2:
        return math.nan
    return float(1 / (2 * stdtr(values - 1, -SINGLE / math.sqrt(1 + 1 / values))))


def watch(
    values: Sequence[float],
    groups: Sequence[str] | None = None,
    *,
    sigma: float | None = None,
    restarts: Sequence[int] = (),
    least: float = 0.0,
) -> Watched:
    """Chart values in order. groups: the level that each is held against (None: one); sigma: known scatter; restarts:
    numbers of values from which the level is learnt anew; least: an estimated scatter below it is not believed, as a file's
    digits or chance make three values alike.
    """
    labels = ["one"] * len(values) if groups is None else list(groups)
    state, points, moves = _State(), [], []
    stretches, begin = [0], 0
    for i, (x, group) in enumerate(zip(values, labels, strict=True)):
        if i in restarts:
            state.sums, state.average, begin = {}, 0.0, i
            stretches += [i] if i else []
        point, r = _judged(state, x, group, sigma, max(least, 1e-9 * abs(x)))
        if point.z is not None:
            state.average += WEIGHT * (point.z - state.average)
            alarm = abs(state.average) > limit_of_average()
            point = Point(**{**vars(point), "average": state.average, "alarm": alarm})
        points.append(point)
        if point.alarm:
            moves.append(_moved(points, values, labels, begin, i))
            begin = moves[-1].onset
            stretches.append(begin)
            state.sums, state.average = {}, 0.0
            for k in range(begin, i + 1):
                state.learn(labels[k], values[k])
            continue
        if r is not None:
            reach = abs(r) * (SINGLE / abs(point.z) if point.z is not None and point.signals else 1.0)
            state.squares, state.df = state.squares + reach**2, state.df + 1
        if not point.signals or state.sums.get(group, (0.0, 0))[1] < LEAST_LEVEL:
            state.learn(group, x)
    told = sigma if sigma is not None else math.sqrt(state.squares / state.df) if state.df >= LEAST_DF else None
    return Watched(tuple(points), tuple(moves), told, None if sigma is not None else state.df, tuple(stretches))


def _judged(state: _State, x: float, group: str, sigma: float | None, least: float) -> tuple[Point, float | None]:
    """The value against what is known, and its departure r (None: first of its group)."""
    total, count = state.sums.get(group, (0.0, 0))
    if not count:
        return Point(), None
    centre, stretch = total / count, math.sqrt((count + 1) / count)
    r = (x - centre) / stretch
    if sigma is not None:
        z, reach = r / sigma, SINGLE * sigma
        df = None
    elif state.df >= LEAST_DF and state.squares + least > 0:
        s, df = max(math.sqrt(state.squares / state.df), least), state.df
        below = float(stdtr(df, -abs(r) / s))
        z = math.copysign(-float(ndtri(max(below, 1e-300))), r)
        reach = s * -float(stdtrit(df, ndtr(-SINGLE)))
    else:
        return Point(centre=centre), r
    half = reach * stretch  # a z of 3 stands at T of the same chance
    return Point(z=z, centre=centre, low=centre - half, high=centre + half, signals=abs(z) > SINGLE, df=df), r


def _moved(points: Sequence[Point], values: Sequence[float], labels: Sequence[str], begin: int, alarm: int) -> Move:
    """Where the level of the stretch from `begin` began to move, and by how much, seen from the alarm."""
    judged = [i for i in range(begin, alarm + 1) if points[i].z is not None]
    z = np.array([points[i].z for i in judged], float)
    onset = earliest = judged[0]
    if len(z) >= 3:
        # after the change, the judged values first hang on one side of the old level
        same = np.sign(z) == np.sign(points[alarm].average or 0.0)
        split = change_of_level(z, least=1)
        first = split.after if same[split.after] else split.after + int(np.argmax(same[split.after :]))
        onset, earliest = judged[first], judged[min(max(split.low, 0), first)]
        level = z[:first].mean() if first else 0.0
        if abs(z[first:].mean()) < abs(level):  # it had moved from the beginning of what can be judged
            onset = earliest = judged[0]
    shift, u = _size(values, labels, begin, onset, alarm, points)
    return Move(onset, earliest, alarm, shift, u)


def _size(
    values: Sequence[float], labels: Sequence[str], begin: int, onset: int, alarm: int, points: Sequence[Point]
) -> tuple[float | None, float | None]:
    """Mean step over the groups with values on both sides, weighed by how well each tells it."""
    steps, weights = [], []
    for group in dict.fromkeys(labels[begin : alarm + 1]):
        early = [values[i] for i in range(begin, onset) if labels[i] == group and not points[i].signals]
        late = [values[i] for i in range(onset, alarm + 1) if labels[i] == group]
        if early and late:
            steps.append(float(np.mean(late) - np.mean(early)))
            weights.append(1 / (1 / len(early) + 1 / len(late)))
    if not steps:
        return None, None
    last = points[alarm]
    assert last.centre is not None and last.high is not None
    reach = -float(stdtrit(last.df, ndtr(-SINGLE))) if last.df else SINGLE
    # the limits allow for the centre too, by a few per cent
    spread = (last.high - last.centre) / reach
    return float(np.average(steps, weights=weights)), spread / math.sqrt(sum(weights))
