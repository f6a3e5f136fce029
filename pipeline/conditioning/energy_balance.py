"""The rig's own truth: work taken up by the brake against energy given up by the shaft.

On a mechanical-inertia rig: integral((T - T_drag) w dt) + integral(T_drag w dt) = I (w1^2 - w2^2) / 2; with a simulated
inertia the right side is I_mech (w1^2 - w2^2) / 2 + integral(T_drive w dt). Over a test, the momentum given up in each
quarter of a braking, -I dw / dt, lies on a line against the mean torque: its slope is a gain (or inertia) error, its
zero the offset (or, of a sensor that sees no drag, the drag). A speed-scale error s shows as 1/s. The balance is blind to
pressure, piston area and radius.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.conditioning.faults.unit_slips import named
from pipeline.conditioning.offsets import robust_fit, robust_line

# channel -> its dimension and the power of its factor in the balance's ratio
POWERS = {"torque": ("torque", 1), "speed": ("angular_speed", -1), "time": ("duration", 1), "inertia": ("inertia", -1)}
UNIT_TOLERANCE = 0.03
DRIFT_POINTS = 40  # a drifting gain is fitted from this many quarters of brakings on


@dataclass(frozen=True)
class BalanceLine:
    """Gain (1: torque, speed and inertia agree) and the torque read where the shaft does not decelerate (N m)."""

    gain: float
    u_gain: float
    zero: float
    u_zero: float
    points: int


def balance_line(
    torque: np.ndarray, momentum: np.ndarray, weight: np.ndarray, *, order: np.ndarray | None = None
) -> BalanceLine | None:
    """Fit of -I dw/dt (plus the drive's torque) on recorded torque, both (n,) N m, weights (n,) s.

    order (n,): place in the test from 0 to 1; a gain that drifts over the test is then fitted beside, so that it does not
    pass for an offset, and the gain given is that of the test's middle. None where the torques lie too near together
    (within 10 %) or are too few for a line.
    """
    good = np.isfinite(torque) & np.isfinite(momentum) & (weight > 0)
    x, y, weight = torque[good], momentum[good], weight[good]
    if x.size < 8 or np.ptp(x) < 0.1 * np.abs(x).max():
        return None
    # Huber's fit of deceleration on torque: torque is the quieter of the two.
    columns = [np.ones_like(x), x]
    if order is not None and x.size >= DRIFT_POINTS and np.ptp(order[good]) > 0:
        columns.append(x * (order[good] - 0.5))
    c, covariance = robust_fit(np.column_stack(columns), y, weight / weight.mean())
    c0, c1 = c[0], c[1]
    if not c1 > 0:
        return None
    gradient = np.array([-1 / c1, c0 / c1**2])
    return BalanceLine(
        float(1 / c1),
        float(np.sqrt(covariance[1, 1]) / c1**2),
        float(-c0 / c1),
        float(np.sqrt(gradient @ covariance[:2, :2] @ gradient)),
        int(x.size),
    )


def drag_from_balance(
    torque: np.ndarray, speed: np.ndarray, momentum: np.ndarray, weight: np.ndarray, offset: float
) -> tuple[float, float, float, float, float] | None:
    """Drag a, b, gain and the standard uncertainties of the drag in the middle and of the gain, of a sensor that sees none.

    Fit of -I dw/dt = (T - offset) / gain + a + b w; None where the points cannot tell the three apart.
    """
    good = np.isfinite(torque) & np.isfinite(momentum) & np.isfinite(speed) & (weight > 0)
    if good.sum() < 12:
        return None
    x, w, y = torque[good] - offset, speed[good], momentum[good]
    design = np.column_stack([x, np.ones_like(x), w])
    scaled = design / np.abs(design).max(axis=0)
    if np.linalg.cond(scaled) > 200:
        return None
    c, covariance = robust_fit(design, y, weight[good] / weight[good].mean())
    if not c[0] > 0:
        return None
    middle = np.array([0.0, 1.0, float(w.mean())])
    u_drag = float(np.sqrt(middle @ covariance @ middle))
    return float(c[1]), float(c[2]), float(1 / c[0]), u_drag, float(np.sqrt(covariance[0, 0]) / c[0] ** 2)


def ratio(work: float, drag_work: float, kinetic: float, drive_work: float | None = None) -> float | None:
    """Work at the brake and in the bearings over the energy taken from the shaft (all J); None where that is not positive."""
    given = kinetic + (drive_work or 0.0)
    if not (np.isfinite(work) and np.isfinite(drag_work) and np.isfinite(given)) or given <= 0:
        return None
    return float((work + drag_work) / given)


def ratio_statistics(ratios: np.ndarray) -> dict[str, Any]:
    """Median, robust scatter, trend per 100 stops with its standard uncertainty; null with why where there are too few."""
    index = np.flatnonzero(np.isfinite(ratios))
    values = ratios[index]
    if values.size == 0:
        return {
            "ratio_median": None,
            "ratio_scatter": None,
            "trend_per_100_stops": None,
            "why": "no stop with an energy ratio",
        }
    median = float(np.median(values))
    result: dict[str, Any] = {
        "ratio_median": median,
        "ratio_scatter": 1.4826 * float(np.median(np.abs(values - median))),
        "trend_per_100_stops": None,
        "trend_u": None,
    }
    if values.size >= 10:
        (_, slope), covariance = robust_line(index.astype(float), values)
        result |= {"trend_per_100_stops": float(100 * slope), "trend_u": float(100 * np.sqrt(covariance[1, 1]))}
    else:
        result["trend_why"] = "fewer than ten stops with an energy ratio"
    return result


def candidates(
    median: float | None, line: BalanceLine | None, *, limit: float, units: Mapping[str, str] | None = None
) -> list[dict[str, Any]]:
    """What a balance off by one factor may come from, the like unit slips first; empty where it is within `limit`.

    units: the card's, by channel.
    Each: cause, factor (the ratio it would give), residual (measured over that, less 1), and what it can't be told from.
    """
    if median is None or not np.isfinite(median) or abs(median - 1) <= limit:
        return []
    found = []
    for channel, (dimension, power) in POWERS.items():
        word = "entered as" if channel == "inertia" else "labelled"
        for slip in named(dimension, median**power, (units or {}).get(channel), tolerance=UNIT_TOLERANCE):
            factor = slip.factor**power
            cause = f"{channel} in {slip.actual} {word} {slip.labelled}"
            found.append({"cause": cause, "factor": factor, "residual": median / factor - 1})
    causes = [
        {"cause": f"torque gain {median:.3f} times the true one", "factor": median, "residual": 0.0},
        {"cause": f"inertia entered {1 / median:.3f} times the true one", "factor": median, "residual": 0.0},
        {"cause": f"speed scale {1 / median:.3f} times the true one", "factor": median, "residual": 0.0},
        {"cause": f"time scale (sample rate) {median:.3f} times the true one", "factor": median, "residual": 0.0},
    ]
    if line is not None and abs(line.gain - 1) < min(limit, abs(median - 1) / 2):
        causes.insert(
            0, {"cause": "torque offset or drag, not a gain: the line's slope is 1", "factor": None, "residual": None}
        )
    told = "a torque gain, a wrong inertia, a speed scale and a time scale give the same ratio"
    return [c | {"not_told_apart_from": told} for c in found + causes]
