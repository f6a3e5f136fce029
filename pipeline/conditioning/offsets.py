"""Zero offset of torque and drag torque, told apart.

With the brake open a torque sensor that sees the bearings reads offset + a + b w: readings at several speeds give b and
the sum a + offset. Only a reading at standstill, or the intercept of the balance -I dw/dt against torque, gives the
offset alone. What is taken off the torque for mu is the whole reading, each part once; the split matters to the
energy ratio (drag takes energy from the shaft, an offset does not) and where the method keeps the drag in.

A sensor that does not see the drag reads its offset at rest whatever the speed; the drag is then what the balance
lacks.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.constants import MAD_TO_SD


@dataclass(frozen=True)
class Zero:
    """Torque at zero pressure of a test: offset + (a + b w if the sensor sees drag).

    offset, a (N m), b (N m per rad/s) with standard uncertainties; `how` says from what they were told apart,
    `separated` whether they were.
    """

    offset: float = 0.0
    a: float = 0.0
    b: float = 0.0
    u_rest: float = 0.0  # of offset + drag in the middle of the speeds, what is taken off the torque
    u_offset: float = 0.0
    includes_drag: bool = True
    separated: bool = False
    known: bool = False
    how: str = "no reading at zero pressure"

    def drag(self, speed: np.ndarray) -> np.ndarray:
        """Drag torque at `speed` (rad/s), N m."""
        return self.a + self.b * speed

    def at_rest(self, speed: np.ndarray) -> np.ndarray:
        """What the sensor reads at zero pressure at `speed`, N m."""
        return self.offset + (self.drag(speed) if self.includes_drag else 0.0 * speed)


def robust_line(x: np.ndarray, y: np.ndarray, weight: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Straight line y = c0 + c1 x by Huber's weights; returns coefficients (2,) and their covariance (2, 2).

    Needs three points at two or more places; the scatter is the median absolute deviation of the residuals.
    """
    weight = np.ones_like(x) if weight is None else weight
    design = np.column_stack([np.ones_like(x), x])
    coefficients, covariance = robust_fit(design, y, weight)
    return coefficients, covariance


def least_squares(design: np.ndarray, y: np.ndarray, weight: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Weighted linear least squares: coefficients (k,) and their covariance (k, k) from the residuals' own scatter.

    design (n, k), y (n,), weight (n,) in inverse proportion to the variances.
    """
    root = np.sqrt(weight)
    coefficients = np.linalg.lstsq(design * root[:, None], y * root, rcond=None)[0]
    residual = (y - design @ coefficients) * root
    normal = design.T @ (design * weight[:, None])
    freedom = max(y.size - design.shape[1], 1)
    return coefficients, np.linalg.pinv(normal) * float(residual @ residual) / freedom


def robust_fit(design: np.ndarray, y: np.ndarray, weight: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Least squares with Huber's weights (k = 1.5 robust sigmas): coefficients (k,) and covariance (k, k).

    The covariance is that of the bounded residuals over their slope (Huber 1981, section 7.6; from memory), which
    wild points leave alone; where half of the points lie on the line, that of the points beside it. Coefficients and
    covariance are those of statsmodels' RLM (a test holds both together), which takes no weights and would treble the
    start of each test's stops.
    """
    root = np.sqrt(weight)
    coefficients, covariance = least_squares(design, y, weight)
    for _ in range(MOST_STEPS):
        residual = (y - design @ coefficients) * root
        scale = MAD_TO_SD * float(np.median(np.abs(residual)))
        if scale <= 0:
            return coefficients, covariance
        bounded = BOUND * scale / np.maximum(np.abs(residual), BOUND * scale)
        updated, covariance = least_squares(design, y, weight * bounded)
        if np.allclose(updated, coefficients, rtol=1e-10, atol=1e-12):
            break
        coefficients = updated
    inside = float(np.mean(bounded == 1))
    few = 1 + design.shape[1] / y.size * (1 - inside) / inside
    variance = float(np.square(bounded * residual).sum()) / max(y.size - design.shape[1], 1) * (few / inside) ** 2
    return coefficients, np.linalg.pinv(design.T @ (design * weight[:, None])) * variance


BOUND, MOST_STEPS = 1.5, 20  # robust sigmas
LEAST_STILL_U = 0.5  # N m: a rotor at rest may hang in its bearings' friction
LEAST_SPEED_RANGE = 0.15  # of the highest: readings nearer together give no slope


def torque_zero(
    speed: np.ndarray,
    torque: np.ndarray,
    still: np.ndarray,
    *,
    includes_drag: bool,
    reading_u: float = 0.0,
    intercept: tuple[float, float] | None = None,
    largest_u: float = np.inf,
    largest_drag: float = np.inf,
) -> Zero:
    """Offset and drag from the readings at zero pressure.

    speed (rad/s), torque (N m): (n,) readings with the shaft turning; still: (m,) readings at standstill, N m.
    reading_u: standard uncertainty of one reading, for where too few are there to show a scatter.
    intercept: torque (N m) at which the balance has no deceleration, with its standard uncertainty; trusted to part
    offset from drag only below `largest_u`, and where the drag it leaves is one: not negative, at most `largest_drag`.
    """
    if not includes_drag:
        every = np.r_[torque, still]
        if every.size == 0:
            return Zero(includes_drag=False)
        value, u = _middle(every)
        return Zero(value, 0.0, 0.0, u, u, False, True, True, "readings at zero pressure; the sensor sees no drag")
    if speed.size == 0:
        if still.size == 0:
            return Zero()
        value, u = _middle(still)
        return Zero(value, 0.0, 0.0, u, u, True, False, True, "readings at standstill; drag unknown")
    total, slope, u_rest, sloped = _rest_line(speed, torque, reading_u)
    if intercept is not None:
        middle_drag = total + slope * float(np.median(speed)) - intercept[0]
        if not -3 * np.hypot(intercept[1], u_rest) <= middle_drag <= largest_drag:
            intercept = None
    offset, u_offset, how = _offset(still, intercept, largest_u)
    if offset is None:
        # Nothing parts them: the constant part is taken as offset, the part that grows with speed is drag.
        return Zero(
            total,
            0.0,
            slope,
            u_rest,
            float("nan"),
            True,
            False,
            True,
            "turning readings; constant part taken as offset",
        )
    if sloped and speed.size < FEW_READINGS:
        total, slope, u_rest = _with_bearing(speed, torque, offset, reading_u)
    if sloped:
        return Zero(offset, total - offset, slope, u_rest, u_offset, True, True, True, f"turning readings and {how}")
    # One speed: half of the drag there is taken to grow with speed, which is wrong by a third of it at most.
    middle = float(np.median(speed))
    drag = total - offset
    u = float(np.hypot(u_rest, abs(drag) / 2 / np.sqrt(3) / 2))
    return Zero(offset, drag / 2, drag / 2 / middle, u, u_offset, True, True, True, f"readings at one speed and {how}")


FEW_READINGS = 6  # below, their own scatter says nothing and the readings' uncertainty stands for it


def _rest_line(speed: np.ndarray, torque: np.ndarray, reading_u: float) -> tuple[float, float, float, bool]:
    """Constant part, slope, uncertainty in the middle, and whether the speeds are far enough apart for a slope."""
    if speed.size < 2 or np.ptp(speed) < LEAST_SPEED_RANGE * speed.max():
        value, u = _middle(torque)
        return value, 0.0, float(np.hypot(u, reading_u / np.sqrt(speed.size))), False
    design = np.column_stack([np.ones_like(speed), speed])
    middle = np.array([1.0, float(speed.mean()) / 2])
    if speed.size < FEW_READINGS:
        coefficients, covariance = least_squares(design, torque, np.ones_like(speed))
        covariance = covariance + np.linalg.pinv(design.T @ design) * reading_u**2
    else:
        coefficients, covariance = robust_line(speed, torque)
    return float(coefficients[0]), float(coefficients[1]), float(np.sqrt(middle @ covariance @ middle)), True


def _with_bearing(speed: np.ndarray, torque: np.ndarray, offset: float, reading_u: float) -> tuple[float, float, float]:
    """Line through few readings with what is known beside them: the drag's constant part lies between none and all of
    it.

    That is a rectangular limit (half of the drag, drag / sqrt(12)) on what would be read just above standstill.
    """
    drag = max(float(torque.mean()) - offset, 0.0)
    level_u = max(reading_u, 1e-3 * abs(float(torque.mean())), 1e-9)
    weight = np.r_[np.full(speed.size, 1 / level_u**2), 12 / max(drag, level_u) ** 2]
    design = np.column_stack([np.ones(speed.size + 1), np.r_[speed, 0.0]])
    root = np.sqrt(weight)
    coefficients = np.linalg.lstsq(design * root[:, None], np.r_[torque, offset + drag / 2] * root, rcond=None)[0]
    covariance = np.linalg.pinv(design.T @ (design * weight[:, None]))
    middle = np.array([1.0, float(speed.mean()) / 2])
    return float(coefficients[0]), float(coefficients[1]), float(np.sqrt(middle @ covariance @ middle))


def _offset(
    still: np.ndarray, intercept: tuple[float, float] | None, largest_u: float
) -> tuple[float | None, float, str]:
    """Offset alone: readings at standstill and the balance's intercept, weighed by their uncertainties."""
    found = []
    if still.size:
        value, u = _middle(still)
        found.append((value, max(u, LEAST_STILL_U / np.sqrt(still.size)), "readings at standstill"))
    if intercept is not None and np.isfinite(intercept[1]) and intercept[1] <= largest_u:
        found.append((intercept[0], max(intercept[1], LEAST_STILL_U), "the balance's intercept"))
    if not found:
        return None, float("nan"), ""
    weight = np.array([1 / u**2 for _, u, _ in found])
    values = np.array([value for value, _, _ in found])
    mean = float(weight @ values / weight.sum())
    excess = max(float(weight @ np.square(values - mean)) / max(values.size - 1, 1), 1.0)
    return mean, float(np.sqrt(excess / weight.sum())), " and ".join(how for _, _, how in found)


def _middle(values: np.ndarray) -> tuple[float, float]:
    """Median and its standard uncertainty from the values' spread (0 for a single one)."""
    value = float(np.median(values))
    spread = MAD_TO_SD * float(np.median(np.abs(values - value)))
    return value, 1.2533 * spread / np.sqrt(values.size)


def own_zero(readings: np.ndarray, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Each stop's deviation from the test's zero, shrunk to zero as far as it is noise, with standard uncertainties.

    readings: (n,) deviations, NaN where a stop has no reading; u: (n,) their standard uncertainties. The spread between
    stops beyond noise is found robustly (empirical Bayes); a deviation far outside both is taken as it is.
    """
    known = np.isfinite(readings) & np.isfinite(u)
    result, uncertainty = np.zeros(readings.size), np.full(readings.size, 0.0)
    if not known.any():
        return result, uncertainty
    noise = np.square(u[known])
    values = readings[known]
    variance = (MAD_TO_SD * float(np.median(np.abs(values - np.median(values))))) ** 2
    between = max(variance - float(np.median(noise)), 0.0)
    share = between / np.maximum(between + noise, 1e-300)
    far = np.abs(values) > 5 * np.sqrt(between + noise)
    share = np.where(far, 1.0, share)
    result[known] = share * values
    uncertainty[known] = np.sqrt(np.where(far, noise, share * noise))
    uncertainty[~known] = np.sqrt(between)
    return result, uncertainty
