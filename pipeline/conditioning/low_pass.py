"""Zero-phase low-pass: a Butterworth filter run forward and backward, never across a gap.

Two passes of an n-th order Butterworth filter have the amplitude 1 / (1 + (f / f_d)^2n), so the pair is 3 dB down
where that is 1 / sqrt(2): at f_d (sqrt(2) - 1)^(1/2n), 0.802 f_d for n = 2. The design frequency is raised by the same
factor so that the stated cut-off is the pair's (SAE J211/1 and ISO 6487 do so: 2.0775 x CFC for a pair at 5/3 x CFC).
"""

import numpy as np

from pipeline.conditioning.time_base import median_step, unbroken

HIGHEST_SHARE = 0.45  # of the sampling rate: nearer to Nyquist the filter has nothing left to do


def design_frequency(cutoff: float, order: int, *, rate: float | None = None) -> float:
    """Design frequency of one pass so that the pair is 3 dB down at `cutoff` (same unit).

    With `rate` the bilinear transform's warping is allowed for, so that the digital pair is exact too.
    """
    factor = (np.sqrt(2.0) - 1.0) ** (1.0 / (2.0 * order))
    if rate is None:
        return float(cutoff / factor)
    return float(np.arctan(np.tan(np.pi * cutoff / rate) / factor) * rate / np.pi)


def sections(cutoff: float, order: int, rate: float) -> np.ndarray | None:
    """Second-order sections of one pass; None where the cut-off is too near the Nyquist frequency to filter at all."""
    from scipy.signal import butter

    if not np.isfinite(rate) or cutoff >= HIGHEST_SHARE * rate:
        return None
    design = design_frequency(cutoff, order, rate=rate)
    return butter(order, design, fs=rate, output="sos") if design < 0.49 * rate else None


def low_pass(values: np.ndarray, sos: np.ndarray | None, *, padding: int = 50) -> np.ndarray:
    """`values` (an unbroken stretch) filtered forward and backward; unchanged where `sos` is None or it is too short.

    The ends are continued by point reflection, over at most `padding` samples.
    """
    if sos is None or values.size < 4:
        return values.copy()
    from scipy.signal import sosfiltfilt

    return sosfiltfilt(sos, values, padlen=min(padding, values.size - 1))


def filtered(
    time: np.ndarray, values: np.ndarray, *, cutoff: float, order: int, gap_periods: float = 5.0
) -> np.ndarray:
    """`values` low-passed in each of its unbroken stretches; samples that are not finite stay as they are.

    time (s) and values are (n,); cutoff (Hz) is the -3 dB frequency of the forward-backward pair.
    """
    step = median_step(time)
    sos = sections(cutoff, order, 1.0 / step if step > 0 else float("nan"))
    if sos is None:
        return values.copy()
    padding = int(np.ceil(3.0 / (cutoff * step)))
    result = values.copy()
    for stretch in unbroken(time, values, periods=gap_periods):
        result[stretch] = low_pass(values[stretch], sos, padding=padding)
    return result
