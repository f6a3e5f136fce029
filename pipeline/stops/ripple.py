"""Torque ripple by shaft order.

A disc whose thickness varies or that runs out of true brakes unevenly once or twice a turn. Against the shaft's angle the
ripple is periodic however the speed falls, so its amplitude is that of cos and sin of the angle's multiples in a linear
fit beside a smooth trend.
"""

import numpy as np

from pipeline.stops.scatter import smooth_basis

LEAST_TURNS = 3.0
SAMPLES_A_PERIOD = 3.0


def ripple(
    time: np.ndarray, speed: np.ndarray, torque: np.ndarray, orders: tuple[int, ...] = (1, 2)
) -> dict[int, tuple[float, float]]:
    """Amplitude over mean torque and its standard uncertainty, both 1, of each shaft order that the rate can show.

    time (s), speed (rad/s), torque (N m, unfiltered): (n,) over the window. Orders whose period is shorter than three
    samples over most of the window are left out; all are below three turns.
    """
    good = np.isfinite(torque) & np.isfinite(speed)
    if good.sum() < 40:
        return {}
    t, w, torque = time[good], speed[good], torque[good]
    angle = np.r_[0.0, np.cumsum(np.diff(t) * (w[1:] + w[:-1]) / 2)]
    step = np.median(np.diff(t))
    mean = float(torque.mean())
    shown = [n for n in orders if np.mean(n * w * step < 2 * np.pi / SAMPLES_A_PERIOD) > 0.5]
    if angle[-1] < 2 * np.pi * LEAST_TURNS or not shown or not mean > 0:
        return {}
    trend = smooth_basis(angle / angle[-1], 4)
    waves = [wave(n * angle) for n in shown for wave in (np.cos, np.sin)]
    design = np.column_stack([trend, *waves])
    solution, *_ = np.linalg.lstsq(design, torque, rcond=None)
    residual = torque - design @ solution
    sigma = float(np.sqrt(residual @ residual / max(t.size - design.shape[1], 1)))
    u = sigma * np.sqrt(2.0 / t.size) / mean
    pairs = solution[trend.shape[1] :].reshape(-1, 2)
    return {n: (float(np.hypot(*pair)) / mean, u) for n, pair in zip(shown, pairs, strict=True)}
