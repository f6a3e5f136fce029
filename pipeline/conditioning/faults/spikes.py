"""Single wild samples: found against the running median (Hampel) and bridged."""

import numpy as np

from pipeline.conditioning.medians import median, quantiles, running_median
from pipeline.conditioning.time_base import all_known
from pipeline.constants import MAD_TO_SD

SPIKE_SIGMAS = 10.0
SPIKE_SHARE = 0.25  # of the level: a smaller one moves no average
SPIKE_SAMPLES = 2  # a wider excursion is no spike


def spikes(values: np.ndarray) -> np.ndarray:
    """Indices of single wild samples: more than ten robust sigmas and a quarter of the level from the median of seven
    (Hampel).

    The sigma is that of the whole series about its running median, so that ramps raise none.
    values: (n,) in the order of time, any unit; returns none where a value is missing.
    """
    if values.size < 15 or not all_known(values):
        return np.empty(0, dtype=np.int64)
    floor = SPIKE_SHARE * quantiles(np.abs(values), 0.95)[0]
    # A sample that far from the median of seven is as far from one of the two next to it on either side.
    far = [(np.abs(values[by:] - values[:-by]) > floor).nonzero()[0] for by in (1, 2)]
    if not any(at.size for at in far):
        return np.empty(0, dtype=np.int64)
    first, last = min(int(at[0]) for at in far if at.size), max(int(at[-1]) for at in far if at.size) + 2
    padded = np.concatenate([values[[0, 0, 0]], values, values[[-1, -1, -1]]])
    if not (np.abs(values[first : last + 1] - running_median(padded[first : last + 7], 7)) > floor).any():
        return np.empty(0, dtype=np.int64)
    off = values - running_median(padded, 7)
    local = np.median(np.abs(np.lib.stride_tricks.sliding_window_view(np.pad(off, 7, mode="edge"), 15)), axis=1)
    sigma = MAD_TO_SD * np.maximum(local, median(np.abs(off)))
    wild = np.abs(off) > np.maximum(SPIKE_SIGMAS * sigma, floor)
    edges = np.flatnonzero(np.diff(np.r_[False, wild, False].astype(np.int8))).reshape(-1, 2)
    short = [np.arange(a, b) for a, b in edges if b - a <= SPIKE_SAMPLES]
    return np.concatenate(short) if short else np.empty(0, dtype=np.int64)


def without_spikes(values: np.ndarray, at: np.ndarray) -> np.ndarray:
    """The series with the samples `at` bridged between their neighbours.

    values: (n,); at: (k,) indices; returns (n,).
    """
    if not at.size:
        return values
    kept = np.ones(values.size, dtype=bool)
    kept[at] = False
    index = np.arange(values.size)
    result = values.copy()
    result[at] = np.interp(at, index[kept], values[kept])
    return result
