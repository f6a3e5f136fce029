"""Lag between torque and pressure.

Two chains with different delays show the same build-up at different times. The lag is where the cross-correlation of
the two rates of change peaks, between samples by a parabola through the three highest values. One lag per test: the
median over its stops, used only where it is clear of zero.

Which of the two is late is told by the speed, which neither delays: with a lag L of torque behind the shaft, w(t) = c
- (1/I) [J(t) + L T(t)] + drift, J the running integral of the recorded torque, so a linear fit of w on J, T and t
gives L without differentiating anything.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.conditioning.time_base import all_known, steps_to_hold
from pipeline.constants import MAD_TO_SD


@dataclass(frozen=True)
class Lag:
    """Lag of a test: seconds that torque comes late behind pressure, its standard uncertainty, the stops' spread."""

    value: float
    u: float
    spread: float
    stops: int
    significant: bool


def peak_lag(first: np.ndarray, second: np.ndarray, *, longest: int) -> tuple[float, float]:
    """Samples by which `second` comes after `first`, with the correlation there (at most 1).

    Both (n,) and sampled alike, without a mean to speak of (rates of change). NaN where no peak lies inside +-longest.
    """
    norm = float(np.sqrt((first @ first) * (second @ second)))
    if not norm > 0 or longest < 1:
        return float("nan"), 0.0
    n = first.size
    size = 1 << (2 * n - 1).bit_length()
    one, other = np.fft.rfft(np.array([first, second]), size)
    product = np.fft.irfft(one.conj() * other, size) / norm
    longest = min(longest, n - 1)
    values = np.concatenate([product[size - longest :], product[: longest + 1]])  # lags -longest .. longest
    top = int(np.argmax(values))
    if top in (0, values.size - 1):
        return float("nan"), float(values[top])
    left, centre, right = values[top - 1 : top + 2]
    curvature = left - 2 * centre + right
    shift = 0.5 * (left - right) / curvature if curvature < 0 else 0.0
    return float(top - longest + shift), float(centre)


def lag_of_build_up(pressure: np.ndarray, torque: np.ndarray, step: float, *, longest: float) -> tuple[float, float]:
    """Lag of torque behind pressure (s) over one build-up, and the correlation; NaN where either has a gap.

    Arrays (n,) from before the brake start to after the build-up, uniformly sampled at `step`.
    """
    if pressure.size < 8 or not (all_known(pressure) and all_known(torque)):
        return float("nan"), 0.0
    lag, height = peak_lag(pressure[1:] - pressure[:-1], torque[1:] - torque[:-1], longest=steps_to_hold(longest, step))
    return lag * step, height


def lag_behind_speed(time: np.ndarray, speed: np.ndarray, torque: np.ndarray) -> float:
    """Lag of torque behind the shaft's deceleration (s) from one braking; NaN where the fit cannot tell.

    time (s), speed (rad/s), torque (N m): (n,), from before the brake start to the end of braking.
    """
    if not (all_known(speed) and all_known(torque)):
        good = np.isfinite(speed) & np.isfinite(torque)
        time, speed, torque = time[good], speed[good], torque[good]
    if speed.size < 20:
        return float("nan")
    t, w = time - time[0], speed
    integral = np.concatenate([[0.0], np.cumsum((t[1:] - t[:-1]) * (torque[1:] + torque[:-1]) / 2)])
    columns = np.array([np.ones(t.size), integral, torque, t])
    scale = np.abs(columns).max(axis=1)
    if not (scale > 0).all():
        return float("nan")
    solution, _, rank, _ = np.linalg.lstsq((columns / scale[:, None]).T, w, rcond=None)
    c = solution / scale
    return float(c[2] / c[1]) if rank == 4 and c[1] < 0 else float("nan")


FEW_STOPS = 3
FEW_SAMPLES, FEW_HEIGHT = 1.5, 0.8


def lag_of_test(lags: np.ndarray, *, step: float, heights: np.ndarray | None = None) -> Lag:
    """Median of the stops' lags (s), its uncertainty from their spread, and whether it is clear of zero.

    Clear of zero: above three standard uncertainties and above a fifth of a sample. One or two stops have no spread
    to go by: theirs must be above one and a half samples, with build-ups so alike that the correlation is above 0.8
    (`heights`).
    lags: (n,) s, NaN where a stop has none; step: sample period (s); heights: (n,) correlation of each stop's
    build-ups.
    """
    known = np.isfinite(lags)
    finite = lags[known]
    if finite.size == 0:
        return Lag(0.0, float("nan"), float("nan"), 0, False)
    value = float(np.median(finite))
    if finite.size < FEW_STOPS:
        alike = heights is not None and float(heights[known].min()) >= FEW_HEIGHT
        return Lag(
            value, 0.25 * step, float(np.ptp(finite)), int(finite.size), alike and abs(value) > FEW_SAMPLES * step
        )
    spread = MAD_TO_SD * float(np.median(np.abs(finite - value)))
    u = 1.2533 * max(spread, 0.05 * step) / np.sqrt(finite.size)  # a median's standard error, normal scatter
    return Lag(value, u, spread, int(finite.size), abs(value) > max(3 * u, 0.2 * step))
