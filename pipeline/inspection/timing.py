"""Which column is the time, of what kind, in which unit; and how often each column was sampled.

Time rises from row to row. A counter rises too: a name or a unit of time tells them apart, else the guess is doubtful.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from pipeline.inspection.names import said
from pipeline.inspection.tables import Table
from pipeline.inspection.unit_guess import kinds_said

RISING = 0.995  # of the steps
SECONDS = {"s": 1.0, "ms": 1e-3}  # of what is not stated; others are rare
STEP_S = (2e-4, 1.0)  # between samples of a rig


@dataclass(frozen=True)
class Time:
    """place: of the column, None where the file's own time serves (MDF, waveforms) or there is none; unit: as the card writes it;
    to_s: seconds of one; counters: further columns that rise with the rows."""

    place: int | None
    column: str
    unit: str
    to_s: float
    kind: str
    reasons: list[str] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    second: str | None = None
    counters: frozenset[int] = frozenset()
    dates: str = "iso"  # of timestamps; "" where nothing tells


def time_of(table: Table) -> Time | None:
    """The time of a table; None where nothing in it rises with the rows."""
    rising = [at for at in range(len(table.columns)) if _rises(table.array(at))]
    if table.master:
        return Time(
            None,
            "",
            "s",
            1.0,
            "the file's own time",
            ["the file keeps the time of its channels"],
            counters=frozenset([0, *rising]),
        )
    scored = sorted(((_points(table, at), -at) for at in rising), reverse=True)
    stamp = table.stamp
    best = -scored[0][1] if scored else None
    counters = frozenset(rising)
    if stamp is not None and (best is None or scored[0][0] < 4 or best == stamp):
        return _stamped(table, stamp, counters | {stamp})
    if best is None:
        return None
    column = table.columns[best]
    reasons, doubts = ["rises from row to row"], []
    word = said(column.bare)
    if word.quantity == "time":
        reasons.insert(0, f"named {column.bare!r}")
    else:
        doubts.append("its name does not say time")
    unit, to_s = _unit(table, best, reasons, doubts)
    second = [-at for points, at in scored[1:] if points >= scored[0][0] - 2] or (
        [stamp] if stamp not in (None, best) else []
    )
    if second and scored[0][0] < 4:
        doubts.append(f"{table.columns[second[0]].name!r} may be it as well")
    name = table.columns[second[0]].name if second else None
    return Time(best, column.name, unit, to_s, "seconds" if unit == "s" else "number", reasons, doubts, name, counters)


def _stamped(table: Table, at: int, counters: frozenset[int]) -> Time:
    column = table.columns[at]
    words = {
        "time of day": ("time of day", "holds times of day"),
        "local": ("timestamp", "holds dates and times without a zone"),
        "zoned": ("timestamp", "holds dates and times with a zone"),
    }[table.clock]
    reasons = [words[1]]
    if table.dates in ("day_first", "month_first"):
        reasons.append(f"the {table.dates.removesuffix('_first')} first")
    doubts = [table.dates_doubt] if table.dates_doubt else []
    return Time(at, column.name, "timestamp", 1.0, words[0], reasons, doubts, None, counters, table.dates)


def _rises(values: np.ndarray) -> bool:
    steps = np.diff(values[np.isfinite(values)])
    return bool(steps.size >= 2 and (steps > 0).mean() >= RISING)


def _points(table: Table, at: int) -> float:
    """How much a column that rises is the time: its name, its unit, even steps; a counter counts by ones."""
    column, word = table.columns[at], said(table.columns[at].bare)
    points = (
        1.0 + (2.0 + word.strength if word.quantity == "time" else 0.0) + 3.0 * ("duration" in kinds_said(column.unit))
    )
    if word.quantity == "counter" or (word.quantity and word.quantity != "time"):
        points -= 3.0
    if kinds_said(column.unit) and "duration" not in kinds_said(column.unit):
        points -= 4.0
    steps = np.diff(table.array(at))
    if np.all(steps == steps[0]) and steps[0] == 1.0 * table.every and word.quantity != "time":
        points -= 1.5
    return points - 0.001 * at


def step_of(values: np.ndarray) -> float:
    """The median step of rising values; NaN where there is none."""
    steps = np.diff(values[np.isfinite(values)])
    steps = steps[steps > 0]
    return float(np.median(steps)) if steps.size else float("nan")


def _unit(table: Table, at: int, reasons: list[str], doubts: list[str]) -> tuple[str, float]:
    stated, step = table.columns[at].unit, step_of(table.array(at)) / table.every
    if "duration" in kinds_said(stated):
        from pipeline.inputs.quantities import scale_offset

        factor = scale_offset(stated, "duration")[0]
        reasons.append(f"in {stated}")
        if not STEP_S[0] <= step * factor <= STEP_S[1]:
            doubts.append(f"read in {stated} there are {step * factor:.3g} s between samples")
        return stated, factor
    if stated:
        doubts.append(f"its unit {stated!r} is not one of time")
    fits = [unit for unit, factor in SECONDS.items() if STEP_S[0] <= step * factor <= STEP_S[1]]
    best = "s" if step < 0.5 else "ms" if "ms" in fits else (fits or ["s"])[0]
    others = [unit for unit in fits if unit != best]
    doubts.append(
        f"no unit is stated; by its steps of {step:.4g} it counts in {best}" + (f", or {others[0]}" if others else "")
    )
    return best, SECONDS[best]


def rates(table: Table, time_s: np.ndarray) -> list[float]:
    """Samples a second of each column, by the rows in which it has one; NaN where that cannot be told."""
    step = step_of(time_s) / table.every
    found = []
    for at in range(len(table.columns)):
        known = np.isfinite(table.array(at))
        gap = float(np.median(np.diff(np.flatnonzero(known)))) if known.sum() > 2 else float("nan")
        found.append(1.0 / (step * gap) if step > 0 and gap > 0 else float("nan"))
    return found


def seconds_of(table: Table, time: Time | None) -> np.ndarray:
    """Times in s of a table's rows; the number of the row where there is no time."""
    if time is None:
        return np.arange(table.values.height, dtype=float)
    at = 0 if time.place is None else time.place
    values = table.array(at) * time.to_s
    known = np.isfinite(values)
    if not known.all() and known.any():
        values = np.interp(np.arange(values.size), np.flatnonzero(known), values[known])
    return values


def same_columns(tables: Sequence[Table]) -> list[Table]:
    """The tables with the columns of the first."""
    first = [c.name for c in tables[0].columns]
    return [t for t in tables if [c.name for c in t.columns] == first]
