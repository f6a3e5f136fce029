"""Torque ripple by shaft order.

A disc whose thickness varies or that runs out of true brakes unevenly once or twice a turn. Against the shaft's angle
the ripple is periodic however the speed falls, so its amplitude is that of cos and sin of the angle's multiples in a
linear fit beside a smooth trend.
"""

import numpy as np

from pipeline.stops.scatter import smooth_basis

LEAST_TURNS = 3.0
LEAST_SAMPLES = 40
SAMPLES_A_PERIOD = 2.5


def ripple(
    time: np.ndarray, speed: np.ndarray, torque: np.ndarray, orders: tuple[int, ...] = (1, 2)
) -> dict[int, tuple[float, float]]:
    """Amplitude over mean torque and its standard uncertainty, both 1, of each shaft order that the rate can show.

    time (s), speed (rad/s), torque (N m, unfiltered): (n,) over the window. An order is fitted on the samples that
    have at least 2.5 to its period; where those are too few, or make less than three turns, it is left out.
    """
    found: dict[int, tuple[float, float]] = {}
    step = float(np.median(np.diff(time))) if time.size > 1 else float("nan")
    known = np.isfinite(torque) & np.isfinite(speed)
    before, amplitudes = None, None
    for order in orders:
        shown = known & (order * speed * step < 2 * np.pi / SAMPLES_A_PERIOD)
        if np.count_nonzero(shown) < LEAST_SAMPLES:
            continue
        if before is None or not np.array_equal(shown, before):  # orders that the same samples show share a fit
            before, amplitudes = shown, _amplitudes(time[shown], speed[shown], torque[shown])
        if amplitudes is not None:
            found[order] = amplitudes[order - 1]
    return found


def _amplitudes(t: np.ndarray, w: np.ndarray, torque: np.ndarray) -> list[tuple[float, float]] | None:
    """Of orders 1 and 2, fitted together."""
    angle = np.r_[0.0, np.cumsum(np.diff(t) * (w[1:] + w[:-1]) / 2)]
    mean = float(torque.mean())
    if angle[-1] < 2 * np.pi * LEAST_TURNS or not mean > 0:
        return None
    # Pieces longer than a turn, so that the trend cannot follow the ripple itself.
    turns = angle[-1] / (2 * np.pi)
    trend = smooth_basis(angle / angle[-1], int(np.clip(turns / 3, 1, 12)))
    waves = [wave(n * angle) for n in (1, 2) for wave in (np.cos, np.sin)]
    design = np.column_stack([trend, *waves])
    if t.size < 2 * design.shape[1]:
        return None
    solution, *_ = np.linalg.lstsq(design, torque, rcond=None)
    residual = torque - design @ solution
    sigma = float(np.sqrt(residual @ residual / (t.size - design.shape[1])))
    u = sigma * float(np.sqrt(2.0 / t.size)) / mean
    return [(float(np.hypot(*pair)) / mean, u) for pair in solution[trend.shape[1] :].reshape(-1, 2)]
