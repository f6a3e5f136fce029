"""The stretch of stops, up to the whole test, that one error explains best.

With gain_i the cost that the error takes from stop i (negative where it makes things worse), the best stretch is the
run of stops with the largest sum; it follows from one pass of running sums (maximal segment, Bentley 1984). A single
stop that was missed decides nothing, as costs are bounded.
"""

from __future__ import annotations

import numpy as np

TAKEN = 1e3  # keeps a stretch from reaching over stops that another one explains


def bounded(off: np.ndarray, tolerance: float | np.ndarray) -> np.ndarray:
    """Cost 0 to 1 of a difference: d^2 / (d^2 + tolerance^2); 0 where it is unknown.

    off: (n,) and its tolerance, one or (n,), in one unit; returns (n,).
    """
    ratio = np.asarray(off / tolerance)
    square = np.square(np.where(np.isnan(ratio), 0.0, ratio))
    return square / (1 + square)


def best_stretch(gain: np.ndarray, left: np.ndarray | None = None) -> tuple[int, int, float]:
    """(first, last, sum of gain) of the best run of the stops `left`; gain (n,), n > 0."""
    kept = gain if left is None else np.where(left, gain, -TAKEN)
    sums = np.concatenate([[0.0], np.cumsum(kept)])
    last = int(np.argmax(sums[1:] - np.minimum.accumulate(sums)[:-1]))
    first = int(np.argmin(sums[: last + 1]))
    return first, last, float(sums[last + 1] - sums[first])


def left_open(worse: np.ndarray, least_cost: float, least_stops: int) -> bool:
    """Whether somewhere `least_stops` stops in a row do not speak against an error: worse (n,) is the cost that it
    would have added to each stop that tells; a mean below `least_cost` decides nothing."""
    if worse.size < least_stops:
        return True
    means = np.convolve(worse, np.ones(least_stops) / least_stops, mode="valid")
    return bool(means.min() < least_cost)
