"""Torque ripple by shaft order.

A disc whose thickness varies or that runs out of true brakes unevenly once or twice a turn. Against the shaft's angle
the ripple is periodic however the speed falls, so its amplitude is that of cos and sin of the angle's multiples in a
linear fit beside a smooth trend.

The samples do not always tell the waves from each other and from the trend: at a constant speed with three samples a turn twice the angle
reads as once the angle backwards, and of a channel that is damaged too few turns may be left. What is lost of a wave is in the
triangle of the design's orthogonal factors. An amplitude that they know MOST_LOST times worse than as many samples spread evenly over
the turns is none. Neither is one above what torque of one sign can have: twice the mean (|integral of f cos| <= integral of f).
"""

import numpy as np

from pipeline.conditioning.medians import median
from pipeline.stops.scatter import smooth_basis

LEAST_TURNS = 3.0
LEAST_SAMPLES = 40
SAMPLES_A_PERIOD = 2.5
MOST_LOST = 2.0
HIGHEST = 2.0  # amplitude over mean


def ripple(
    time: np.ndarray, speed: np.ndarray, torque: np.ndarray, orders: tuple[int, ...] = (1, 2)
) -> dict[int, tuple[float, float]]:
    """Amplitude over mean torque and its standard uncertainty, both 1, of each shaft order that the rate can show.

    time (s), speed (rad/s), torque (N m, unfiltered): (n,) over the window. An order is fitted on the samples that
    have at least 2.5 to its period; where those are too few, make less than three turns or do not tell it, it is left out.
    """
    found: dict[int, tuple[float, float]] = {}
    step = median(time[1:] - time[:-1]) if time.size > 1 else float("nan")
    known = np.isfinite(torque) & np.isfinite(speed)
    before, amplitudes = None, dict[int, tuple[float, float]]()
    for order in orders:
        shown = known & (order * speed * step < 2 * np.pi / SAMPLES_A_PERIOD)
        if np.count_nonzero(shown) < LEAST_SAMPLES:
            continue
        if before is None or not np.array_equal(shown, before):  # orders that the same samples show share a fit
            before, amplitudes = shown, _amplitudes(time[shown], speed[shown], torque[shown])
        if order in amplitudes:
            found[order] = amplitudes[order]
    return found


def _amplitudes(t: np.ndarray, w: np.ndarray, torque: np.ndarray) -> dict[int, tuple[float, float]]:
    """Of orders 1 and 2, fitted together, those that the samples tell."""
    angle = np.r_[0.0, np.cumsum(np.diff(t) * (w[1:] + w[:-1]) / 2)]
    mean = float(torque.mean())
    if angle[-1] < 2 * np.pi * LEAST_TURNS or not mean > 0:
        return {}
    # Pieces longer than a turn, so that the trend cannot follow the ripple itself.
    turns = angle[-1] / (2 * np.pi)
    trend = smooth_basis(angle / angle[-1], int(np.clip(turns / 3, 1, 12)))
    waves = [wave(n * angle) for n in (1, 2) for wave in (np.cos, np.sin)]
    design = np.column_stack([trend, *waves])
    if t.size < 2 * design.shape[1]:
        return {}
    solution, *_ = np.linalg.lstsq(design, torque, rcond=None)
    residual = torque - design @ solution
    sigma = float(np.sqrt(residual @ residual / (t.size - design.shape[1])))
    u = sigma * float(np.sqrt(2.0 / t.size)) / mean
    pairs = solution[trend.shape[1] :].reshape(-1, 2)
    told = {n: (float(np.hypot(*pair)) / mean, u) for n, pair in enumerate(pairs, 1)}
    lost = _lost(design, trend.shape[1])
    return {n: one for n, one in told.items() if lost[n - 1] <= MOST_LOST and one[0] <= HIGHEST}


def _lost(design: np.ndarray, trend: int) -> list[float]:
    """How many times worse each pair of waves, behind the trend's columns, is known than by waves that nothing else resembles."""
    waves = np.asarray(np.linalg.qr(design, mode="r"))[trend:, trend:]
    try:
        covariance = np.linalg.inv(waves.T @ waves) * (len(design) / 2.0)
    except np.linalg.LinAlgError:
        return [np.inf] * (waves.shape[1] // 2)
    blocks = [covariance[k : k + 2, k : k + 2] for k in range(0, waves.shape[1], 2)]
    worst = [float(np.linalg.eigvalsh(block)[-1]) if np.isfinite(block).all() else np.inf for block in blocks]
    return [float(np.sqrt(one)) if one > 0 else np.inf for one in worst]
