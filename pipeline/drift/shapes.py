"""Shapes that a change of friction can take over the stops of a test, each with unit size at its end.

    step     from a stop on
    ramp     in proportion to the stops since its onset, whatever they were
    glaze    grows with low-energy stops since its onset, saturating; worn off by high-energy stops
    bedding  present at the start, dying away

The glaze follows dg = (1 - g)/N per low-energy stop and -g/R per high-energy stop and rests otherwise: the common
picture of the trade (growth on gentle cold use, kept through pauses, cleared by hard use), with N and R left open.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.constants import Array

GROWTH = (15.0, 40.0, np.inf)  # low-energy stops to 63 %; infinite: linear
CLEARING = (3.0, np.inf)  # high-energy stops to 37 %; infinite: never
DYING = (4.0, 10.0, 25.0)  # stops to 37 %


class Shapes(NamedTuple):
    """Candidate columns (n, k) with their family, onset (stop number) and time constant."""

    columns: Array
    family: NDArray[np.str_]
    onset: NDArray[np.int64]
    constant: Array

    def joined(self, other: "Shapes") -> "Shapes":
        return Shapes(*(np.concatenate([a, b], axis=-1) for a, b in zip(self, other, strict=True)))

    def of(self, which: NDArray[np.bool_]) -> "Shapes":
        return Shapes(self.columns[:, which], self.family[which], self.onset[which], self.constant[which])


def steps(stop: NDArray[np.int64], onsets: NDArray[np.int64]) -> Shapes:
    columns = (stop[:, None] >= onsets[None, :]).astype(float)
    return _shapes(columns, "step", onsets)


def ramps(stop: NDArray[np.int64], onsets: NDArray[np.int64]) -> Shapes:
    columns = np.maximum(0.0, stop[:, None] - onsets[None, :] + 1.0)
    return _shapes(columns, "ramp", onsets)


def bedding(stop: NDArray[np.int64], start: int) -> Shapes:
    """Exponentials from `start` (the first stop that counts) on, 1 there."""
    columns = np.exp(-np.maximum(0, stop[:, None] - start) / np.array(DYING)[None, :])
    shapes = _shapes(columns, "bedding", np.full(len(DYING), start))
    return shapes._replace(constant=np.array(DYING))


def glaze_state(low: Array, high: Array, onset: NDArray[np.int64], growth: Array, clearing: Array) -> Array:
    """Glaze after each stop, (n, k), for k sets of onset (index of the first stop that counts) and constants."""
    state = np.zeros(len(onset))
    out = np.empty((len(low), len(onset)))
    linear = np.isinf(growth)
    rate = np.where(linear, 1.0, 1 / np.where(linear, 1.0, growth))
    for i in range(len(low)):
        if low[i]:
            state = state + np.where(i >= onset, low[i] * np.where(linear, 1.0, rate * (1 - state)), 0.0)
        if high[i]:
            state = state * (1 - np.minimum(1.0, high[i] / clearing))
        out[i] = state
    return out


def glazes(
    stop: NDArray[np.int64],
    all_stops: NDArray[np.int64],
    low: Array,
    high: Array,
    onsets: NDArray[np.int64],
    *,
    growth: tuple[float, ...] = GROWTH,
    clearing: tuple[float, ...] = CLEARING,
) -> Shapes:
    """Glaze at the given stops for every onset (stop numbers) and pair of constants.

    `low` and `high` are the exposure of `all_stops`; the state at a stop is that with which it begins.
    """
    n, r, t = np.meshgrid(np.array(growth), np.array(clearing), np.arange(len(onsets)), indexing="ij")
    index = np.searchsorted(all_stops, onsets)[t.ravel()]
    after = glaze_state(low, high, index, n.ravel(), r.ravel())
    before = np.vstack([np.zeros((1, after.shape[1])), after[:-1]])
    columns = before[np.searchsorted(all_stops, stop)]
    shapes = _shapes(columns, "glaze", onsets[t.ravel()])
    return shapes._replace(constant=n.ravel())


def _shapes(columns: Array, family: str, onsets: NDArray[np.int64]) -> Shapes:
    peak = np.abs(columns).max(axis=0, initial=0.0)
    columns = columns / np.where(peak > 0, peak, 1.0)
    count = columns.shape[1]
    return Shapes(columns, np.full(count, family, dtype="U8"), np.asarray(onsets, np.int64), np.full(count, np.nan))
