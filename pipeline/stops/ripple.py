"""Torque ripple by shaft order.

A disc whose thickness varies or that runs out of true brakes unevenly once or twice a turn. Against the shaft's angle
the ripple is periodic however the speed falls, so its amplitude is that of cos and sin of the angle's multiples in a
linear fit beside a smooth trend.

The samples do not always tell the waves from each other and from the trend: at a constant speed with three samples a turn twice the angle
reads as once the angle backwards, and of a channel that is damaged too few turns may be left. What is lost of a wave is in its
covariance beside all else that is fitted. An amplitude that they know MOST_LOST times worse than as many samples spread evenly over
the turns is none. Neither is one above what torque of one sign can have: twice the mean (|integral of f cos| <= integral of f).
"""

import math

import numpy as np

from pipeline.conditioning.medians import mean, median
from pipeline.stops.scatter import smooth_basis

LEAST_TURNS = 3.0
LEAST_SAMPLES = 40
SAMPLES_A_PERIOD = 2.5
MOST_LOST = 2.0
HIGHEST = 2.0  # amplitude over mean
LEAST_PIVOT = 1e-4  # of the trend, over the largest: below, its normal equations tell it no more


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
    angle = np.concatenate([[0.0], np.cumsum((t[1:] - t[:-1]) * (w[1:] + w[:-1]) / 2)])
    level = mean(torque)
    if angle[-1] < 2 * np.pi * LEAST_TURNS or not level > 0:
        return {}
    # Pieces longer than a turn, so that the trend cannot follow the ripple itself.
    turns = angle[-1] / (2 * np.pi)
    trend = smooth_basis(angle / angle[-1], min(max(int(turns / 3), 1), 12))
    cos, sin = np.cos(angle), np.sin(angle)
    waves = np.stack([cos, sin, cos * cos - sin * sin, 2 * cos * sin], axis=1)
    freedom = t.size - trend.shape[1] - waves.shape[1]
    if t.size < 2 * (t.size - freedom):
        return {}
    try:
        pairs, covariance, square = fitted(trend, waves, torque)
    except np.linalg.LinAlgError:
        return {}
    u = float(np.sqrt(square / freedom * 2.0 / t.size)) / level
    told = {n: (float(np.hypot(*pair)) / level, u) for n, pair in enumerate(pairs.reshape(-1, 2), 1)}
    lost = _lost(covariance * (t.size / 2.0))
    return {n: one for n, one in told.items() if lost[n - 1] <= MOST_LOST and one[0] <= HIGHEST}


def fitted(trend: np.ndarray, waves: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """Least squares of values (n,) by trend (n, k) and waves (n, m): the waves' coefficients (m,), their covariance over the variance
    of a sample (m, m), the residuals' sum of squares. Raises LinAlgError where the waves cannot be told.

    By the normal equations, with the trend taken out of the waves first. They lose digits only where little of a wave is left, and
    such a wave is none.
    """
    both = np.concatenate([waves, values[:, None]], axis=1)
    products = trend.T @ both
    by_trend = _solved(trend.T @ trend, products)
    left = waves.T @ both - products[:, :-1].T @ by_trend
    covariance = np.linalg.inv(left[:, :-1])
    coefficients = covariance @ left[:, -1]
    residual = values - waves @ coefficients - trend @ (by_trend[:, -1] - by_trend[:, :-1] @ coefficients)
    return coefficients, covariance, float(residual @ residual)


def _solved(square: np.ndarray, right: np.ndarray) -> np.ndarray:
    """x (k, m) of square (k, k) x = right (k, m); the shortest one where a piece of the trend has no samples to go by."""
    try:
        pivots = np.linalg.cholesky(square).diagonal()
    except np.linalg.LinAlgError:
        pivots = np.zeros(1)
    if pivots.min() > LEAST_PIVOT * pivots.max():
        return np.linalg.solve(square, right)
    return np.asarray(np.linalg.lstsq(square, right, rcond=LEAST_PIVOT**2)[0])


def _lost(covariance: np.ndarray) -> list[float]:
    """How many times worse each pair of waves is known than by waves that nothing else resembles: the root of the larger
    eigenvalue of its block (2, 2) of the covariance (m, m) over that of these.
    """
    worst = []
    for k in range(0, len(covariance), 2):
        (a, b), (_, c) = covariance[k : k + 2, k : k + 2].tolist()
        worst.append((a + c) / 2 + math.hypot((a - c) / 2, b))
    return [math.sqrt(one) if one > 0 else math.inf for one in worst]
