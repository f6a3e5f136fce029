"""Uncertainty of mu (JCGM 100): mu = T / (2 eta (p - p0) A r), first order.

Stated limits are rectangular: standard uncertainty limit / sqrt(3). An accuracy "of full scale" bounds the sensor's
error anywhere in its range: an error of zero and one that grows with the reading. The reading at rest takes the first
away, and the rest reading's own uncertainty stands in its place; what remains is an error of gain, at most the limit
at full scale, so limit / full scale of any reading. Where there is no reading at rest the whole limit stays as well.
Gain, radius, area, efficiency and threshold pressure are common to all stops of a rig and do not average out; zero
readings and scatter are the stop's own. The threshold pressure is never taken as exact: it is a property of seals and
slides that few rigs measure, and a tenth of a bar is one percent of mu at 10 bar.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.archive.sensors import SensorLimit
from pipeline.results.summary import Share


def relative_uncertainty(
    torque: float, pressure: float, area: float, radius: float, efficiency: float = 0.0, *, correlation: float = 0.0
) -> float:
    """Relative standard uncertainty of mu from those of its factors (all relative); correlation: of torque and
    pressure errors.
    """
    square = torque**2 + pressure**2 + area**2 + radius**2 + efficiency**2 - 2 * correlation * torque * pressure
    return float(np.sqrt(max(square, 0.0)))


def effective_freedom(parts: np.ndarray, freedom: np.ndarray) -> float:
    """Effective degrees of freedom of a combined standard uncertainty (Welch and Satterthwaite; JCGM 100, G.4.1).

    parts (n,): standard uncertainties in the unit of the result; freedom (n,): of each, infinite for stated limits.
    """
    total = float(np.square(parts).sum())
    return total**2 / float((parts**4 / freedom).sum()) if total > 0 else float("inf")


@dataclass(frozen=True)
class Gains:
    """Relative standard uncertainties common to all stops, and the zero limits (N m, Pa) for stops without a rest
    reading.
    """

    torque: float
    pressure: float
    area: float
    radius: float
    efficiency: float
    correlation: float = 0.0
    torque_zero: float = 0.0
    pressure_zero: float = 0.0
    threshold: float = 0.0  # standard uncertainty of the threshold pressure, Pa
    torque_calibration: float = 0.0  # relative, of a gain that was corrected for; beside what the sensor's limits allow
    pressure_calibration: float = 0.0

    @property
    def common(self) -> float:
        """Relative, without the threshold's part, which is the larger the lower the pressure."""
        sensors = relative_uncertainty(
            self.torque, self.pressure, self.area, self.radius, self.efficiency, correlation=self.correlation
        )
        return float(np.hypot(sensors, np.hypot(self.torque_calibration, self.pressure_calibration)))

    def common_at(self, pressure: float) -> float:
        """Relative, at a pressure above the threshold (Pa)."""
        return float(np.hypot(self.common, self.threshold / pressure)) if pressure > 0 else self.common


def gain_and_zero(limit: SensorLimit | None, level: float) -> tuple[float, float]:
    """Relative standard uncertainty of gain, and of zero (SI), from a sensor's stated limits; 0, 0 where none are.

    A limit in a unit without a full scale is referred to `level`, the largest reading in use.
    """
    if limit is None:
        return 0.0, 0.0
    if limit.relative is not None:
        return limit.relative / np.sqrt(3), 0.0
    absolute = limit.absolute or 0.0
    reference = limit.full_scale or level
    return (absolute / reference if reference > 0 else 0.0) / np.sqrt(3), absolute / np.sqrt(3)


def relative_limit(limit: SensorLimit | None, value: float) -> float:
    """Relative standard uncertainty of a fixed quantity (radius, area, efficiency) of this value; 0 where none is
    stated.
    """
    if limit is None:
        return 0.0
    half = limit.relative if limit.relative is not None else (limit.absolute or 0.0) / value
    return half / np.sqrt(3)


def combined(
    mu: float,
    gains: Gains,
    *,
    torque: float,
    pressure: float,
    torque_zero_stop: float,
    torque_zero_test: float,
    pressure_zero_stop: float,
    pressure_zero_test: float,
    scatter: float,
) -> tuple[float, float, float]:
    """Standard uncertainty of one stop's mu, its common and its own part.

    torque: mean friction torque (N m), pressure: mean pressure above threshold (Pa); zero readings' standard
    uncertainties in the same units; scatter: of the mean of mu. A zero error of torque and one of pressure are
    independent.
    """
    relative = mu / torque if torque else 0.0, mu / pressure if pressure else 0.0
    common = np.sqrt(
        (mu * gains.common_at(pressure)) ** 2
        + (relative[0] * torque_zero_test) ** 2
        + (relative[1] * pressure_zero_test) ** 2
    )
    own = np.sqrt(scatter**2 + (relative[0] * torque_zero_stop) ** 2 + (relative[1] * pressure_zero_stop) ** 2)
    return float(np.hypot(common, own)), float(common), float(own)


COUNTED_AS_0 = "counted as 0"
UNSTATED = f"no accuracy stated: {COUNTED_AS_0}"


def budget(gains: Gains, stated: dict[str, bool], typical: dict[str, float], pressure: float | None) -> list[Share]:
    """The budget as listed in a test's summary; null where nothing is stated, for that is no uncertainty of nought.

    stated: source -> whether the card gives it; typical: the stop parts' medians over the test (relative); pressure:
    the stops' median above the threshold (Pa), at which the threshold's part is given, None without stops.
    """
    rows: list[Share] = []
    for source, value in (
        ("torque", gains.torque),
        ("pressure", gains.pressure),
        ("piston_area", gains.area),
        ("effective_radius", gains.radius),
        ("efficiency", gains.efficiency),
    ):
        known = stated.get(source, False)
        why = None if known else UNSTATED
        rows.append(Share(source=source, relative_u=value if known else None, part="common", note=why, why=why))
    rows.append(_threshold_row(gains.threshold, stated.get("threshold_pressure", False), pressure))
    rows += [Share(source=name, relative_u=value, part="stop") for name, value in typical.items()]
    if gains.correlation:
        note = f"coefficient {gains.correlation:g}"
        rows.append(Share(source="correlation of torque and pressure", part="common", note=note))
    return rows


def _threshold_row(u: float, stated: bool, pressure: float | None) -> Share:
    relative = u / pressure if pressure else None
    where = f"at {pressure / 1e5:.3g} bar above it, the stops' median" if pressure else "no stop with a pressure"
    note = f"u {u / 1e5:.2g} bar, {where}" + ("" if stated else "; no accuracy stated: the method's limits")
    why = where if relative is None else None
    return Share(source="threshold_pressure", relative_u=relative, part="common", note=note, why=why)
