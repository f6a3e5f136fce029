"""Readings at rest: what a sensor shows where the quantity is zero."""

from dataclasses import dataclass
from math import ceil, sqrt

import numpy as np

from pipeline.conditioning.medians import mean, median
from pipeline.conditioning.time_base import known_of
from pipeline.constants import MAD_TO_SD


@dataclass(frozen=True)
class Reading:
    """A mean with its standard uncertainty (same unit) and the number of samples behind it."""

    value: float
    u: float
    samples: int


@dataclass(frozen=True)
class Rest:
    """Pressure at rest of a stretch: its level, its noise (robust standard deviation) and the highest level reached;
    Pa.

    `known` is false where no level is held low down: a recording without a sample at rest.
    """

    level: float
    noise: float
    high: float
    known: bool = True


BAND = 0.02  # of the range: samples of a held level crowd in so narrow a band, those of a ramp do not
CROWD, CROWD_SHARE = 5, 0.15
FEW_LAGS = 8


def rest_of(pressure: np.ndarray) -> Rest:
    """Rest level of a stretch: where its lowest samples lie; zeros where none is a number.

    The median of the samples in the lowest fifth of the range, the few lowest left out as they may be spikes. Right as
    soon as a few samples are at rest; of a recording without any it is the lowest pressure held.
    pressure: (n,) Pa, NaN where missing.
    """
    finite = np.sort(known_of(pressure))
    if finite.size == 0:
        return Rest(0.0, 0.0, 0.0, False)
    few = min(max(3, finite.size // 1000), finite.size - 1)
    low, high = finite[few], finite[-1 - few]
    near = finite[: finite.searchsorted(low + 0.2 * (high - low), "right")]
    half = near.size // 2
    level = float(near[half] if near.size % 2 else (near[half - 1] + near[half]) / 2)
    crowd = ceil(max(CROWD, CROWD_SHARE * near.size))
    crowded = bool((near[crowd - 1 :] <= near[: max(near.size - crowd + 1, 0)] + BAND * (high - low)).any())
    return Rest(level, MAD_TO_SD * median(np.abs(near - level)), float(high), crowded)


def rest_pressure(pressure: np.ndarray) -> float:
    """Pressure at rest of a stretch (Pa).

    pressure: (n,) Pa, NaN where missing.
    """
    return rest_of(pressure).level


def settled_rest(own: Rest, test: float, margin: float) -> float:
    """The rest level to use for a recording: its own, or the test's where its own cannot be one.

    A recording that never shows the pressure at rest has a lowest level far above the test's; one with wild values far
    below. `margin` is the least difference that counts (Pa).
    """
    tolerance = max(margin, 0.1 * (own.high - test))
    return own.level if own.known and abs(own.level - test) <= tolerance else test


def reading(values: np.ndarray) -> Reading | None:
    """Mean at rest, robust against spikes; its uncertainty allows for the samples' autocorrelation. None below 3
    samples.

    values: (n,) in the order of time, any unit, NaN where missing.
    """
    finite = known_of(values)
    if finite.size < 3:
        return None
    centre = median(finite)
    off = np.abs(finite - centre)
    spread = MAD_TO_SD * median(off)
    kept = finite if spread <= 0 or off.max() <= 5 * spread else finite[off <= 5 * spread]
    value = mean(kept)
    centred = kept - value
    squares = float(np.add.reduce(centred * centred))
    return Reading(value, sqrt(squares / max(kept.size - 1, 1)) / sqrt(_effective_number(centred)), int(kept.size))


def effective_number(values: np.ndarray) -> float:
    """Number of independent samples that average as these do: n / (1 + 2 sum of autocorrelations), at least 1.

    The sum runs over lags up to the first pair of neighbours whose sum is not positive (initial positive sequence,
    Geyer 1992), at most a third of the series. values: (n,), finite, without a trend.
    """
    return _effective_number(values - mean(values))


def _effective_number(centred: np.ndarray) -> float:
    """Of a series less its mean."""
    n = centred.size
    variance = float(centred @ centred)
    if n < 4 or variance <= 0:
        return float(max(n, 1))
    longest = max(n // 3, 2) - 1
    longest -= longest % 2
    # A sensor's noise is forgotten within a few samples: then as few sums of products are made, and no transform.
    total = 0.0
    for lag in range(1, min(FEW_LAGS, longest), 2):
        pair = (
            float(centred[:-lag] @ centred[lag:]) / variance
            + float(centred[: -lag - 1] @ centred[lag + 1 :]) / variance
        )
        if pair <= 0:
            break
        total += pair
    else:
        if longest > FEW_LAGS:
            found = _correlations(centred, longest) / variance
            pairs = found[::2] + found[1::2]
            negative = (pairs <= 0).nonzero()[0]
            total = float(pairs[: negative[0] if negative.size else pairs.size].sum())
    return min(max(n / (1.0 + 2.0 * total), 1.0), float(n))


def _correlations(values: np.ndarray, lags: int) -> np.ndarray:
    """Sums of the products of values (n,) with those 1 to `lags` places later: (lags,)."""
    size = 1 << (2 * values.size - 1).bit_length()
    spectrum = np.fft.rfft(values, size)
    return np.fft.irfft(spectrum * np.conj(spectrum), size)[1 : lags + 1]
