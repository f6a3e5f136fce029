"""Zero-phase low-pass: a Butterworth filter run forward and backward, never across a gap.

Two passes of an n-th order Butterworth filter have the amplitude 1 / (1 + (f / f_d)^2n), so the pair is 3 dB down
where that is 1 / sqrt(2): at f_d (sqrt(2) - 1)^(1/2n), 0.802 f_d for n = 2. The design frequency is raised by the same
factor so that the stated cut-off is the pair's (SAE J211/1 and ISO 6487 do so: 2.0775 x CFC for a pair at 5/3 x CFC).

The pair has no phase, so it is applied as that amplitude on the spectrum of the stretch, continued at both ends by
point reflection; the same as running the difference equation forward and backward, at a fraction of the time.
"""

from functools import lru_cache

import numpy as np

from pipeline.conditioning.time_base import all_known, median_step, steps_to_hold, unbroken

HIGHEST_SHARE = 0.45  # of the sampling rate: nearer to Nyquist the filter has nothing left to do
SHORTEST = 4  # samples: below, a stretch is left as it is
PERIODS = 6.0  # of the cut-off that the ends are continued by, at least
FORGOTTEN = 1e-11  # share of a sample that the filter still holds where the continued ends stop


def design_frequency(cutoff: float, order: int, *, rate: float | None = None) -> float:
    """Design frequency of one pass so that the pair is 3 dB down at `cutoff` (same unit).

    With `rate` the bilinear transform's warping is allowed for, so that the digital pair is exact too.
    """
    factor = (np.sqrt(2.0) - 1.0) ** (1.0 / (2.0 * order))
    if rate is None:
        return float(cutoff / factor)
    return float(np.arctan(np.tan(np.pi * cutoff / rate) / factor) * rate / np.pi)


def pair_amplitude(frequency: np.ndarray, cutoff: float, order: int, rate: float) -> np.ndarray:
    """Amplitude of the forward-backward pair at `frequency` (Hz, up to half the rate): the digital Butterworth's,
    squared.

    frequency: (n,); cutoff (-3 dB of the pair), rate (Hz); order of one pass. Returns (n,), 1.
    """
    design = np.tan(np.pi * design_frequency(cutoff, order, rate=rate) / rate)
    with np.errstate(over="ignore"):
        return 1.0 / (1.0 + (np.tan(np.pi * np.minimum(frequency / rate, 0.4999999)) / design) ** (2 * order))


@lru_cache(maxsize=8)  # stops sampled alike share a few lengths
def _amplitude(size: int, cutoff: float, order: int, rate: float) -> np.ndarray:
    return pair_amplitude(np.fft.rfftfreq(size, 1.0 / rate), cutoff, order, rate)


def low_pass(values: np.ndarray, *, cutoff: float, order: int, rate: float) -> np.ndarray:
    """An unbroken stretch (n,), or several channels of one (k, n), low-passed without phase; cutoff and rate in Hz.

    Unchanged where the cut-off is too near half the rate, or the stretch has fewer than four samples.
    """
    size = values.shape[-1]
    if size < SHORTEST or not np.isfinite(rate) or cutoff >= HIGHEST_SHARE * rate:
        return values.copy()
    padding = max(steps_to_hold(PERIODS / cutoff, 1 / rate), memory(cutoff / rate, order))
    wide = _continued(values, padding)
    amplitude = _amplitude(wide.shape[-1], cutoff, order, rate)
    return np.fft.irfft(np.fft.rfft(wide) * amplitude, wide.shape[-1])[..., padding : padding + size]


@lru_cache(maxsize=8)
def memory(share: float, order: int) -> int:
    """Samples until what is left of one is FORGOTTEN; share: the cut-off over the rate.

    By the pole of the digital filter that is nearest to the unit circle: near half the rate, and for a high order, that is long.
    """
    angle = np.pi * (2 * np.arange(order) + 1) / (2 * order)
    analogue = 1j * np.exp(1j * angle) * np.tan(np.pi * design_frequency(share, order, rate=1.0))
    slowest = float(np.abs((1 + analogue) / (1 - analogue)).max())
    return int(np.ceil(np.log(FORGOTTEN) / np.log(max(slowest, FORGOTTEN))))


def _continued(values: np.ndarray, padding: int) -> np.ndarray:
    """The values (..., n) point-reflected at both ends by `padding` samples, at the end by some more, up to a length that is
    transformed fast (that of a prime takes twenty times as long).
    """
    size = values.shape[-1] + 2 * padding
    unit = 1 << max(size.bit_length() - 4, 0)  # sizes of 8 to 16 times a power of two
    behind = padding + -size % unit
    if behind >= values.shape[-1]:
        ends = [(0, 0)] * (values.ndim - 1) + [(padding, padding)]
        return np.pad(values, ends, mode="reflect", reflect_type="odd")
    first, last = values[..., :1], values[..., -1:]
    before, after = values[..., padding:0:-1], values[..., -2 : -behind - 2 : -1]
    return np.concatenate([2 * first - before, values, 2 * last - after], axis=-1)


def filtered(
    time: np.ndarray, values: np.ndarray, *, cutoff: float, order: int, gap_periods: float = 5.0
) -> np.ndarray:
    """`values` low-passed in each of its unbroken stretches; samples that are not finite stay as they are.

    time (s): (n,); values: (n,), or (k, n) of channels sampled together, each of which is filtered by itself; cutoff (Hz)
    is the -3 dB frequency of the forward-backward pair.
    """
    step = median_step(time)
    result = values.copy()
    if not step > 0:
        return result
    if values.ndim > 1 and not all_known(values.reshape(-1)):  # each then has stretches of its own
        for row, channel in zip(result, values, strict=True):
            row[:] = filtered(time, channel, cutoff=cutoff, order=order, gap_periods=gap_periods)
        return result
    any_channel = values.reshape(-1, time.size)[0]
    for stretch in unbroken(time, any_channel, periods=gap_periods):
        result[..., stretch] = low_pass(values[..., stretch], cutoff=cutoff, order=order, rate=1.0 / step)
    return result
