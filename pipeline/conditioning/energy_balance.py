"""The rig's own truth: work taken up by the brake against energy given up by the shaft.

On a mechanical-inertia rig: integral((T - T_drag) w dt) + integral(T_drag w dt) = I (w1^2 - w2^2) / 2; with a
simulated inertia the right side is I_mech (w1^2 - w2^2) / 2 + integral(T_drive w dt). Over a test, the momentum given
up in each quarter of a braking, -I dw / dt, lies on a line against the mean torque: its slope is a gain (or inertia)
error, its zero the offset (or, of a sensor that sees no drag, the drag). A speed-scale error s shows as 1/s. The
balance is blind to pressure, piston area and radius.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.conditioning.offsets import robust_fit

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

    order (n,): place in the test from 0 to 1; a gain that drifts over the test is then fitted beside, so that it does
    not pass for an offset, and the gain given is that of the test's middle. None where the torques lie too near
    together (within 10 %) or are too few for a line.
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
    """Drag a, b, gain and the standard uncertainties of the drag in the middle and of the gain, of a sensor that sees
    none.

    Fit of -I dw/dt = (T - offset) / gain + a + b w; None where the points cannot tell the three apart.
    torque as recorded (N m), speed (rad/s), momentum given up per time (N m), weight (s): (n,); offset (N m). Drag: a
    (N m), b (N m s/rad).
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
