"""Channels of other rates brought onto torque's time.

Torque is what the reduction integrates, so its samples give the rows. A channel with samples at each of
them is taken as it is; one with fewer, or at other times, is interpolated linearly. Nothing is bridged that
the channel's own rate does not explain: where its neighbours lie further apart than that, the value is
missing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.recordings.chunk import Chunk

REACH = 2.5  # sample periods of a channel over which it is interpolated
LONGEST_WAIT = 1_000_000  # rows held back for a slow channel's next sample


@dataclass(frozen=True)
class Rates:
    """What the first chunk shows: whether torque skips rows, and each other channel's own period (s)."""

    torque_skips: bool
    periods: dict[str, float]


def on_torque_time(chunks: Iterator[Chunk], base: str = "torque") -> Iterator[Chunk]:
    """Chunks whose rows are torque's (`base`'s) samples; rows without a time are left out. Null: no sample within
    reach."""
    rates: Rates | None = None
    held: Chunk | None = None
    before: dict[str, tuple[np.ndarray, np.ndarray]] = {}
    for chunk in chunks:
        known = np.isfinite(chunk.rows["time"].to_numpy())
        rows = chunk.rows if known.all() else chunk.rows.filter(pl.Series(known))
        timed = Chunk(rows, chunk.damage, chunk.units)
        rates = rates or _rates(timed.rows, base)
        if not rates.periods and not rates.torque_skips:
            yield timed
            continue
        if held is not None:
            timed = Chunk(pl.concat([held.rows, timed.rows]), held.damage + timed.damage, timed.units)
        ready = _ready(timed.rows, rates)
        done, before = _merged(timed, rates, before, ready, base)
        held = Chunk(timed.rows[ready:], [], timed.units)
        yield done
    if held is not None and rates is not None and held.rows.height:
        yield _merged(held, rates, before, held.rows.height, base)[0]


def _rates(rows: pl.DataFrame, base: str) -> Rates:
    if not any(rows.null_count().row(0)):
        return Rates(False, {})
    time = rows["time"].to_numpy()
    has_torque = rows[base].is_not_null().to_numpy()
    skips = _stride(has_torque) >= 2
    at = has_torque if skips else np.ones(rows.height, dtype=bool)
    periods = {}
    for name in rows.columns:
        if name in ("time", base):
            continue
        has = rows[name].is_not_null().to_numpy()
        slow = _stride(has) >= 2 if not skips else has.any() and has[at].mean() < 0.9
        if slow:
            steps = np.diff(time[has])
            steps = steps[steps > 0]
            periods[name] = float(np.median(steps)) if steps.size else np.inf
    return Rates(bool(skips), periods)


def _stride(has: np.ndarray) -> float:
    """Median number of rows from one sample to the next; 1 where there are fewer than three."""
    index = np.flatnonzero(has)
    return float(np.median(np.diff(index))) if index.size > 2 else 1.0


def _ready(rows: pl.DataFrame, rates: Rates) -> int:
    """Rows that can be given out: those before the last sample of every slow channel."""
    if rows.height > LONGEST_WAIT:
        return rows.height
    last = [int(np.flatnonzero(rows[name].is_not_null().to_numpy())[-1:].sum()) for name in rates.periods]
    return min([rows.height, *last])


def _merged(
    chunk: Chunk, rates: Rates, before: dict[str, tuple[np.ndarray, np.ndarray]], ready: int, base: str
) -> tuple[Chunk, dict[str, tuple[np.ndarray, np.ndarray]]]:
    """The first `ready` rows on torque's time, and each slow channel's last samples for the chunk after."""
    rows = chunk.rows
    time = rows["time"].to_numpy()
    keep = rows[base].is_not_null().to_numpy() if rates.torque_skips else np.ones(rows.height, dtype=bool)
    keep = keep & (np.arange(rows.height) < ready)
    columns, after = [], {}
    for name in rows.columns:
        if name not in rates.periods:
            columns.append(rows[name].filter(pl.Series(keep)))
            continue
        has = rows[name].is_not_null().to_numpy()
        known_time, known = time[has], rows[name].to_numpy()[has]
        if name in before:
            known_time, known = np.r_[before[name][0], known_time], np.r_[before[name][1], known]
        columns.append(pl.Series(name, interpolated(time[keep], known_time, known, rates.periods[name])).fill_nan(None))
        given_out = known_time <= time[ready - 1] if ready else np.zeros(known_time.size, dtype=bool)
        after[name] = (known_time[given_out][-1:], known[given_out][-1:])
    return Chunk(pl.DataFrame(columns), chunk.damage, chunk.units), after


def interpolated(at: np.ndarray, time: np.ndarray, values: np.ndarray, period: float) -> np.ndarray:
    """Values at the times `at`, linear between neighbours at most REACH periods apart; NaN elsewhere.

    Before the first and after the last sample the nearest one holds for one period. Samples at which time
    does not increase are not used. at (n,), time, values (m,), s.
    """
    result = np.full(at.shape, np.nan)
    if time.size == 0 or at.size == 0:
        return result
    increasing = np.r_[True, time[1:] > np.maximum.accumulate(time)[:-1]]
    time, values = time[increasing], values[increasing]
    right = np.clip(np.searchsorted(time, at, side="left"), 0, time.size - 1)
    left = np.clip(np.where(time[right] == at, right, right - 1), 0, time.size - 1)
    span = time[right] - time[left]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(span > 0, (at - time[left]) / np.where(span > 0, span, 1.0), 0.0)
        between = values[left] + np.where(share > 0, share * (values[right] - values[left]), 0.0)
    inside = (at >= time[0]) & (at <= time[-1]) & ((span <= REACH * period) | (span == 0))
    result[inside] = between[inside]
    # A float's slack, so that a channel that ends exactly one period early is still held.
    near = period * (1 + 1e-9)
    result[(at < time[0]) & (time[0] - at <= near)] = values[0]
    result[(at > time[-1]) & (at - time[-1] <= near)] = values[-1]
    return result
