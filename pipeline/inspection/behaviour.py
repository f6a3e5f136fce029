"""How columns behave in a braking, whatever they are called.

A *load* is a column that rests near nought and stands above it for a while. Speed is what falls while a load stands, and does not
fall so before. Among the loads torque is the one that is proportional to the deceleration, by the balance of the shaft

    T - T_drag = -I dw/dt

so that x / (-dw/dt) scatters least over the quarters of all brakings; line pressure scatters more, by mu. A temperature
rises while a load stands and does not drop with it. Times need no unit here.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from pipeline.conditioning.rest import rest_of
from pipeline.conditioning.segments import runs

LEVEL = 0.2  # of a load's range above rest: it stands
NEAR_NOUGHT = 0.15  # of the range: what a load shows at rest
FALLS = 0.03  # of the range, at least, that speed loses in a braking
STEADY = -0.85  # correlation of speed with time in a braking, at most
FASTER = 3.0  # times as fast as before the braking
MOST_RUNS, MOST_LOADS, POINTS = 60, 16, 200
LEAST_SAMPLES = 5
QUIET, SMOOTHED = 25.0, 9  # times its noise that a load's range is, else it is smoothed over so many samples


@dataclass(frozen=True)
class Run:
    """Samples [start, stop) of a table in which a load stands."""

    table: int
    start: int
    stop: int


@dataclass(frozen=True)
class Behaviour:
    """speed: columns that fall, best first, with the share of brakings and how far; loads: share of brakings in which speed falls
    while the column stands; scatter: of x / (-dw/dt), of each load; temperatures: share of brakings in which the column rises
    and stays; runs: brakings of the best load."""

    speed: list[tuple[int, float, float]] = field(default_factory=list)
    loads: dict[int, float] = field(default_factory=dict)
    scatter: dict[int, tuple[float, int]] = field(default_factory=dict)
    temperatures: dict[int, float] = field(default_factory=dict)
    level: dict[int, float] = field(default_factory=dict)  # of each load, median while it stands, less its rest
    runs: list[Run] = field(default_factory=list)
    negative: frozenset[int] = frozenset()  # columns that lie below nought


def seen(tables: Sequence[np.ndarray], times: Sequence[np.ndarray], leave: frozenset[int] = frozenset()) -> Behaviour:
    """The behaviour of columns over one or more recordings of one form. tables: (n, m) each; times: (n,) each, any unit, rising;
    leave: columns that are no quantities (time, counters).
    """
    if not tables or tables[0].shape[1] == 0:
        return Behaviour()
    tables = [_filled(table) for table in tables]
    pooled = np.concatenate([table[:: max(table.shape[0] // 20000, 1)] for table in tables])
    low, high = np.percentile(pooled, [0.5, 99.5], axis=0)
    turned = -low > 3 * np.abs(high)
    tables = [np.where(turned, -table, table) for table in tables]
    pooled = np.where(turned, -pooled, pooled)
    usable = [at for at in range(pooled.shape[1]) if at not in leave and high[at] > low[at]]
    stands = {at: found for at in usable if (found := _runs(tables, pooled[:, at], at))}
    stands = dict(sorted(stands.items(), key=lambda one: -len(one[1]))[:MOST_LOADS])
    falls: dict[int, dict[int, tuple[float, float]]] = {}
    for load, spans in stands.items():
        shares = _falls(tables, times, spans, high - low)
        for at in usable:
            if at != load and shares[at][0] >= 0.3:
                falls.setdefault(at, {})[load] = shares[at]
    ranked = sorted(
        (
            (at, *max(by.values()), sum(sorted((s * a for s, a in by.values()), reverse=True)[:2]))
            for at, by in falls.items()
        ),
        key=lambda one: -one[3],
    )
    if not ranked:
        return _without_speed(tables, times, usable, stands, high - low)
    best = ranked[0][0]
    loads = {load: share for load, (share, _) in falls[best].items() if share >= 0.5}
    if not loads:
        return _without_speed(tables, times, usable, stands, high - low)
    main = max(loads, key=lambda at: (round(loads[at], 1), len(stands[at])))
    return Behaviour(
        speed=[(at, share, fall) for at, share, fall, _ in ranked],
        loads=loads,
        scatter={at: _scatter(tables, times, stands[at], best, at, float(high[best] - low[best])) for at in loads},
        temperatures=_temperatures(tables, times, stands[main], usable, high - low),
        level={at: _level(tables, stands[at], at) for at in loads},
        runs=stands[main],
        negative=frozenset(np.flatnonzero(turned).tolist()),
    )


def _without_speed(
    tables: Sequence[np.ndarray], times: Sequence[np.ndarray], usable: list[int], stands: dict[int, list[Run]], span: np.ndarray
) -> Behaviour:  # fmt: skip
    if not stands:
        return Behaviour()
    main = max(stands, key=lambda at: len(stands[at]))
    return Behaviour(
        temperatures=_temperatures(tables, times, stands[main], usable, span),
        level={at: _level(tables, stands[at], at) for at in stands},
        runs=stands[main],
    )


def _filled(table: np.ndarray) -> np.ndarray:
    """Missing values bridged, so that channels of a slower rate can be looked at; nought where a column has none at all."""
    result = table.copy()
    for at in np.flatnonzero(~np.isfinite(table).all(axis=0)):
        known = np.flatnonzero(np.isfinite(table[:, at]))
        result[:, at] = np.interp(np.arange(table.shape[0]), known, table[known, at]) if known.size else 0.0
    return result


def _runs(tables: Sequence[np.ndarray], pooled: np.ndarray, at: int) -> list[Run] | None:
    """Where a column stands above its rest near nought; None where it is no load."""
    rest = rest_of(pooled)
    span = rest.high - rest.level
    if not span > 3 * rest.noise or span <= 0 or abs(rest.level) > NEAR_NOUGHT * span:
        return None
    noisy = span < QUIET * rest.noise
    found, rows = [], 0
    for number, table in enumerate(tables):
        values = _smooth(table[:, at]) if noisy else table[:, at]
        found += [Run(number, a, b) for a, b in runs(values - rest.level > LEVEL * span) if b - a >= LEAST_SAMPLES]
        rows += table.shape[0]
    if not found or len(found) >= max(rows / 20, 2):
        return None
    return found[:: max(len(found) // MOST_RUNS, 1)][:MOST_RUNS]


def _smooth(values: np.ndarray) -> np.ndarray:
    """Moving mean over a few samples, the ends held."""
    half = min(SMOOTHED // 2, values.size // 2)
    padded = np.pad(values, half, mode="edge")
    return np.convolve(padded, np.full(2 * half + 1, 1 / (2 * half + 1)), mode="valid")


def _falls(
    tables: Sequence[np.ndarray], times: Sequence[np.ndarray], spans: list[Run], span: np.ndarray
) -> list[tuple[float, float]]:
    """Per column the share of runs in which it falls steadily, faster than before, and the median fall over its range."""
    columns = tables[0].shape[1]
    fell, fall = np.zeros(columns), []
    for run in spans:
        table, time = tables[run.table], times[run.table]
        pick = np.unique(np.linspace(run.start, run.stop - 1, POINTS).astype(int))
        block, clock = table[pick], time[pick]
        few = max(pick.size // 20, 1)
        drop = block[:few].mean(axis=0) - block[-few:].mean(axis=0)
        slope, steady = _line(clock, block)
        length = min(run.stop - run.start, run.start)
        before = np.zeros(columns)
        if length >= LEAST_SAMPLES:
            lead = np.unique(np.linspace(run.start - length, run.start - 1, POINTS).astype(int))
            before = _line(time[lead], table[lead])[0]
        turned = block.min(axis=0) < -0.05 * span
        falls = (drop > FALLS * span) & (steady < STEADY) & (slope < FASTER * np.minimum(before, 0.0)) & ~turned
        fell += falls
        fall.append(np.where(falls, drop / np.where(span > 0, span, 1.0), 0.0))
    deep = [float(np.median(c[c > 0])) if (c > 0).any() else 0.0 for c in np.array(fall).T]
    return [(float(f / len(spans)), d) for f, d in zip(fell, deep, strict=True)]


def _line(time: np.ndarray, block: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Slope and correlation of each column with time; nought where nothing varies. block (n, m)."""
    clock = time - time.mean()
    centred = block - block.mean(axis=0)
    both = clock @ centred
    clocks, squares = float(clock @ clock), (centred**2).sum(axis=0)
    size = np.sqrt(clocks * squares)
    return both / max(clocks, 1e-300), np.where(size > 0, both / np.where(size > 0, size, 1.0), 0.0)


def _scatter(
    tables: Sequence[np.ndarray], times: Sequence[np.ndarray], spans: list[Run], speed: int, load: int, span: float
) -> tuple[float, int]:
    """Robust scatter (of the logarithm) of x / (-dw/dt) over quarters of the brakings, and their number."""
    ratios = []
    for run in spans:
        table, time = tables[run.table], times[run.table]
        size = run.stop - run.start
        if size < 24 or table[run.start, speed] - table[run.stop - 1, speed] < FALLS * span:
            continue
        zero, coasting = _before(table, time, run, speed, load)
        edges = np.linspace(run.start + 0.2 * size, run.stop - 0.05 * size, 5).astype(int)
        for a, b in itertools.pairwise(edges):
            part = slice(a, b)
            slope = _line(time[part], table[part, speed : speed + 1])[0][0] - coasting
            level = float(table[part, load].mean()) - zero
            if slope < 0 and level > 0:
                ratios.append(np.log(level / -slope))
    if len(ratios) < 3:
        return float("inf"), len(ratios)
    low, high = np.percentile(ratios, [16, 84])
    return float(high - low) / 2, len(ratios)


def _before(table: np.ndarray, time: np.ndarray, run: Run, speed: int, load: int) -> tuple[float, float]:
    """What the load shows and how speed falls just before a braking: offset and drag, which are no part of it; noughts where the
    recording begins with it."""
    first = max(run.start - max((run.stop - run.start) // 2, LEAST_SAMPLES), 0)
    part = slice(first, run.start - max((run.start - first) // 5, 1))
    if part.stop - part.start < LEAST_SAMPLES:
        return 0.0, 0.0
    coasting = float(_line(time[part], table[part, speed : speed + 1])[0][0])
    return float(np.median(table[part, load])), min(coasting, 0.0)


def _level(tables: Sequence[np.ndarray], spans: list[Run], at: int) -> float:
    return float(np.median([np.median(tables[r.table][(r.start + r.stop) // 2 : r.stop, at]) for r in spans]))


def _temperatures(
    tables: Sequence[np.ndarray], times: Sequence[np.ndarray], spans: list[Run], usable: list[int], span: np.ndarray
) -> dict[int, float]:  # fmt: skip
    """Per column the share of brakings in which it rises and has kept half of that a tenth of the braking after its end."""
    rose = np.zeros(span.size)
    for run in spans:
        table = tables[run.table]
        size = run.stop - run.start
        after = min(run.stop + max(size // 4, 3), table.shape[0] - 1)
        few = max(size // 20, 1)
        first = table[max(run.start - few, 0) : run.start + few].mean(axis=0)
        last = table[run.stop - few : run.stop].mean(axis=0)
        kept = table[max(after - few, run.stop - 1) : after + 1].mean(axis=0)
        steady = _line(times[run.table][run.start : run.stop], table[run.start : run.stop])[1]
        end = np.maximum(last, kept)
        rose += (end - first > 0.005 * span) & (kept - first > 0.5 * (end - first)) & (steady > 0.3)
    return {at: float(rose[at] / len(spans)) for at in usable}
