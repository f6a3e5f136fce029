"""The corrections of a whole test from what its brakings show: sign, zeros, drag, lag, and the balance's line.

Everything here is found once per test and told in its summary; nothing is corrected silently.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from pipeline.conditioning.corrections import Corrections, StopZero
from pipeline.conditioning.energy_balance import BalanceLine, balance_line, drag_from_balance
from pipeline.conditioning.lag import Lag, lag_of_test
from pipeline.conditioning.offsets import LEAST_SPEED_RANGE, Zero, own_zero, robust_line, torque_zero
from pipeline.conditioning.survey import Braking
from pipeline.conditioning.time_base import median_known
from pipeline.constants import MAD_TO_SD
from pipeline.method.conditioning import Conditioning
from pipeline.results import summary as told

LARGEST_DRAG, LARGEST_DRAG_SHARE = 40.0, 0.08  # N m, and of the braking torque: more is no bearing's drag
SPEED_LATE_STEPS = 1.5  # sample periods from which on a late speed is told from the fit's own error
TURNING = 3.0  # rad/s: readings at rest below this speed are neither turning nor at standstill


@dataclass(frozen=True)
class FoundCorrections:
    """Corrections with what they rest on."""

    corrections: Corrections
    lag: Lag
    lag_behind_speed: Lag
    line: BalanceLine | None
    pressure_rest: float
    pressure_spread: float
    torque_spread: float
    speed_late: float = 0.0  # s by which the shaft's slowing is recorded behind torque and pressure; 0 where it is not

    @property
    def offsets(self) -> told.Offsets:
        """Zeros that are taken off, as a test's summary tells them; None with why where nothing was found."""
        zero = self.corrections.zero
        why = "offset and drag were not separated" if zero.known else "no reading at zero pressure"
        return told.Offsets(
            torque_nm=zero.offset if zero.known else None,
            torque_u_nm=zero.u_offset,
            torque_u_why=None if zero.separated else why,
            torque_and_drag_u_nm=zero.u_rest,
            torque_spread_nm=self.torque_spread,
            pressure_bar=self.pressure_rest / 1e5 if any(s.pressure_known for s in self.corrections.stops) else None,
            pressure_spread_bar=self.pressure_spread / 1e5,
            told_apart=zero.separated,
            how=zero.how,
            torque_turned=self.corrections.sign < 0,
        )

    @property
    def drag(self) -> told.Drag:
        """Drag torque of the bearings, as a test's summary tells it."""
        zero = self.corrections.zero
        why = None if zero.separated else "nothing tells a constant drag from the torque's offset"
        return told.Drag(a_nm=zero.a, b_nm_per_rad_s=zero.b, includes_drag=zero.includes_drag, why=why)

    @property
    def delay(self) -> told.Lag:
        """Delay between torque and pressure, as a test's summary tells it."""
        lag, applied = self.lag, self.corrections.lag
        why = None
        if not lag.stops:
            why = "no build-up in which pressure and torque rise together"
        elif not applied:
            why = "switched off by the method" if lag.significant else "not clear of zero"
        return told.Lag(
            value=lag.value if lag.stops else None,
            u=lag.u,
            spread=lag.spread,
            stops=lag.stops,
            significant=lag.significant,
            applied=applied,
            late=self.corrections.late if lag.significant else None,
            speed_late=self.speed_late or None,
            torque_behind_shaft=self.lag_behind_speed.value if self.lag_behind_speed.stops else None,
            why=why,
        )


def corrections_of(
    brakings: Sequence[Braking],
    settings: Conditioning,
    *,
    includes_drag: bool,
    inertia: float,
    inertia_mechanical: float | None,
    has_drive: bool,
) -> FoundCorrections:
    """Corrections of a test. inertia (kg m^2), inertia_mechanical None where the drive simulates nothing."""
    sign = sign_of(brakings)
    steps = np.array([b.step for b in brakings if np.isfinite(b.step)])
    step = float(np.median(steps)) if steps.size else float("nan")
    usable = np.array([b.lag if b.lag_clear else np.nan for b in brakings], dtype=float)
    lag = lag_of_test(usable, step=step, heights=np.array([b.lag_height for b in brakings], dtype=float))
    behind = lag_of_test(np.array([b.lag_speed for b in brakings if b.kind != "drag"], dtype=float), step=step)
    late, speed_late = who_is_late(lag, behind, step)
    applied = lag.value if settings.lag_correction and lag.significant else 0.0
    zero = _zero(brakings, sign, None, np.empty((0, 5)), includes_drag)
    stops, pressure, pressure_u, spreads = _stop_zeros(brakings, zero, sign)
    own = np.array([stop.torque for stop in stops])
    points = _points(
        brakings, sign, inertia, inertia_mechanical, has_drive, own, delay=applied if late == "torque" else 0.0
    )
    line = balance_line(points[:, 0], points[:, 2], points[:, 3], order=points[:, 4])
    # What is at rest in sum is known by now; the line only parts offset from drag, so the stops' own zeros stay.
    zero = _zero(brakings, sign, line, points, includes_drag)
    corrections = Corrections(sign, zero, applied, late, stops, pressure, pressure_u)
    return FoundCorrections(corrections, lag, behind, line, pressure, *spreads, speed_late)


def sign_of(brakings: Sequence[Braking]) -> float:
    """-1 where the torque of every braking is negative against its rest reading, else 1."""
    rises = [b.torque_plateau - (b.torque_rest.value if b.torque_rest else 0.0) for b in brakings]
    finite = [rise for rise in rises if np.isfinite(rise)]
    return -1.0 if finite and max(finite) < 0 else 1.0


def _points(
    brakings: Sequence[Braking],
    sign: float,
    inertia: float,
    mechanical: float | None,
    has_drive: bool,
    own: np.ndarray,
    *,
    delay: float,
) -> np.ndarray:
    """(k, 5) torque less the stop's own zero, speed, momentum given up per time (N m), duration (s), place in the
    test (0 to 1).
    """
    if mechanical is not None and mechanical < inertia and not has_drive:
        return np.empty((0, 5))
    used = [i for i, b in enumerate(brakings) if b.kind != "drag" and b.quarters.size]
    if not used:
        return np.empty((0, 5))
    q = np.concatenate([brakings[i].quarters for i in used])
    index = np.concatenate([np.full(brakings[i].quarters.shape[0], i) for i in used])
    momentum = -(inertia if mechanical is None else mechanical) * q[:, 2]
    if mechanical is not None and has_drive:
        momentum = momentum + q[:, 3]
    # A torque that comes late by `delay` is what it was that long before.
    torque = sign * (q[:, 0] + delay * q[:, 5]) - own[index]
    return np.column_stack([torque, q[:, 1], momentum, q[:, 4], index / max(len(brakings) - 1, 1)])


def _zero(
    brakings: Sequence[Braking], sign: float, line: BalanceLine | None, points: np.ndarray, includes_drag: bool
) -> Zero:
    turning = [(b.speed_rest, b.torque_rest.value) for b in brakings if b.torque_rest and b.speed_rest > TURNING]
    turning += [b.after[:2] for b in brakings if b.after]
    still = [b.still.value for b in brakings if b.still]
    speed, torque = np.array(turning, dtype=float).T if turning else np.empty((2, 0))
    typical = median_known(np.abs([b.torque_plateau for b in brakings]))
    zero = torque_zero(
        speed,
        sign * torque,
        sign * np.array(still, dtype=float),
        reading_u=_typical_u(brakings),
        includes_drag=includes_drag,
        intercept=(line.zero, line.u_zero) if line else None,
        largest_u=max(3.0, 0.005 * typical) if np.isfinite(typical) else 3.0,
        largest_drag=max(LARGEST_DRAG, LARGEST_DRAG_SHARE * float(typical)) if np.isfinite(typical) else LARGEST_DRAG,
    )
    if includes_drag or not points.size:
        return zero
    drag = drag_from_balance(points[:, 0], points[:, 1], points[:, 2], points[:, 3], zero.offset)
    if drag is None or drag[3] > max(3.0, 0.005 * float(typical)):
        return zero
    how = f"{zero.how}; drag from the balance"
    return replace(zero, a=drag[0], b=drag[1], u_offset=zero.u_rest, separated=True, how=how)


def _typical_u(brakings: Sequence[Braking]) -> float:
    """Median standard uncertainty of the torque readings at rest (N m); 0 without any."""
    found = [b.torque_rest.u for b in brakings if b.torque_rest]
    return float(np.median(found)) if found else 0.0


def _pairs(rows: list[tuple[float, float]]) -> np.ndarray:
    return np.array(rows, dtype=float).reshape(-1, 2)


def agrees(before: np.ndarray, after: np.ndarray) -> bool:
    """Whether readings after the release, (m, 2) speed and torque, lie on the line of those before the stop, (n, 2).

    Pads that rub on after the release make them higher; they are then left out. Without a line they have to be
    believed.
    """
    if after.shape[0] == 0:
        return False
    if before.shape[0] < 6 or np.ptp(before[:, 0]) < LEAST_SPEED_RANGE * before[:, 0].max():
        return True
    line, covariance = robust_line(before[:, 0], before[:, 1])
    off = after[:, 1] - line[0] - line[1] * after[:, 0]
    at = np.array([1.0, float(np.median(after[:, 0]))])
    noise = MAD_TO_SD * float(np.median(np.abs(off - np.median(off)))) / np.sqrt(off.size)
    return bool(abs(np.median(off)) <= 3 * np.hypot(np.sqrt(at @ covariance @ at), noise))


def _stop_zeros(
    brakings: Sequence[Braking], zero: Zero, sign: float
) -> tuple[tuple[StopZero, ...], float, float, tuple[float, float]]:
    """Zeros of each stop, the test's pressure at rest with its uncertainty, and both zeros' spread (pressure,
    torque).
    """
    nan = float("nan")
    level = np.array([b.rest.value if b.rest else nan for b in brakings], dtype=float)
    level_u = np.array([b.rest.u if b.rest else nan for b in brakings], dtype=float)
    pressure = float(np.nanmedian(level)) if np.isfinite(level).any() else 0.0
    own_p, own_p_u = own_zero(level - pressure, level_u)
    turning = [b.torque_rest is not None and b.speed_rest > TURNING for b in brakings]
    expected = np.array([float(zero.at_rest(np.array(b.speed_rest))) for b in brakings], dtype=float)
    torque = np.array(
        [sign * b.torque_rest.value if b.torque_rest and t else nan for b, t in zip(brakings, turning, strict=True)],
        dtype=float,
    )
    torque_u = np.array([b.torque_rest.u if b.torque_rest else nan for b in brakings], dtype=float)
    own_t, own_t_u = own_zero(torque - expected, torque_u)
    alone_p, alone_t = alone(own_p), alone(own_t)
    stops = tuple(
        StopZero(
            pressure + float(own_p[i]),
            float(own_p_u[i]),
            float(own_t[i]),
            float(own_t_u[i]),
            bool(np.isfinite(level).any()),
            bool(zero.known),
            bool(alone_p[i]),
            bool(alone_t[i]),
        )
        for i in range(len(brakings))
    )
    known = np.isfinite(level)
    spread = _spread(level)
    pressure_u = 0.0
    if known.any():
        single = max(spread, float(np.median(level_u[known])))
        pressure_u = 1.2533 * single / float(np.sqrt(known.sum()))
    return stops, pressure, pressure_u, (spread, _spread(torque - expected))


def alone(own: np.ndarray) -> np.ndarray:
    """Whether each deviation (n,) is unlike those around it: off the median of five stops by half of it and four
    spreads.

    A zero that stepped or drifts is shared by its neighbours and can be believed; one that is not may as well be torque
    or pressure that was really there.
    """
    if own.size < 3:
        return np.zeros(own.size, dtype=bool)
    width = min(2, (own.size - 1) // 2)
    around = np.lib.stride_tricks.sliding_window_view(np.pad(own, width, mode="reflect"), 2 * width + 1)
    off = np.abs(own - np.median(around, axis=1))
    return off > np.maximum(0.5 * np.abs(own), 4 * MAD_TO_SD * float(np.median(np.abs(own - np.median(own)))))


def _spread(values: np.ndarray) -> float:
    finite = values[np.isfinite(values)]
    return MAD_TO_SD * float(np.median(np.abs(finite - np.median(finite)))) if finite.size else float("nan")


def who_is_late(lag: Lag, behind: Lag, step: float) -> tuple[Literal["torque", "pressure"], float]:
    """Which of torque and pressure to move, and by how much the speed comes behind both (s, 0 where it does not).

    lag: of torque behind pressure; behind: of torque behind the shaft. Two of the three chains agree best and the
    third is the late one; without a sure `behind` (to an eighth of the lag) it is torque. A speed that comes after
    the torque by more than one and a half samples, in front of torque and pressure that agree better, is late, or
    sees the torque.
    """
    if behind.stops < 3 or not np.isfinite(behind.u):
        return "torque", 0.0
    apart = -behind.value
    if apart > max(SPEED_LATE_STEPS * step, 4 * behind.u) and abs(lag.value) < min(
        apart, abs(behind.value - lag.value)
    ):
        return "torque", apart + max(lag.value, 0.0)
    sure = lag.significant and behind.u < abs(lag.value) / 8
    pressure = sure and abs(behind.value) < min(abs(behind.value - lag.value), abs(lag.value))
    return ("pressure" if pressure else "torque"), 0.0
