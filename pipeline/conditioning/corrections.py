"""What is done to a test's torque and pressure before they are reduced: one object, the same for every stop but for
zeros.
"""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from pipeline.conditioning.low_pass import filtered
from pipeline.conditioning.offsets import Zero
from pipeline.method.conditioning import Conditioning


@dataclass(frozen=True)
class StopZero:
    """Zero of one stop: pressure at rest (Pa), torque beside the test's zero (N m), their standard uncertainties."""

    pressure: float = 0.0
    pressure_u: float = 0.0
    torque: float = 0.0
    torque_u: float = 0.0
    pressure_known: bool = True
    torque_known: bool = True
    pressure_alone: bool = False  # unlike the zeros of the stops around it
    torque_alone: bool = False


@dataclass(frozen=True)
class Corrections:
    """Corrections of a test. lag: seconds by which the late channel is shifted back; sign: -1 turns the torque
    round.
    """

    sign: float = 1.0
    zero: Zero = field(default_factory=Zero)
    lag: float = 0.0
    late: Literal["torque", "pressure"] = "torque"
    stops: tuple[StopZero, ...] = ()
    pressure_rest: float = 0.0  # of the test, Pa
    pressure_rest_u: float = 0.0


@dataclass(frozen=True)
class Conditioned:
    """Arrays (n,) over one stop's samples, SI. friction: torque less offset and drag; with_drag: less offset only;
    unfiltered: friction torque before the low-pass; pressure: above rest."""

    time: np.ndarray
    speed: np.ndarray
    pressure: np.ndarray
    friction: np.ndarray
    with_drag: np.ndarray
    unfiltered: np.ndarray
    drag: np.ndarray


def conditioned(
    time: np.ndarray,
    speed: np.ndarray,
    torque: np.ndarray,
    pressure: np.ndarray,
    corrections: Corrections,
    own: StopZero,
    settings: Conditioning,
) -> Conditioned:
    """The samples around one stop with zeros, drag, lag and filter taken care of. Arrays (n,), SI, as recorded."""
    turned = corrections.sign * torque
    smooth, level = filtered(
        time,
        np.array([turned, pressure]),
        cutoff=settings.filter_cutoff,
        order=settings.filter_order,
        gap_periods=settings.gap_periods,
    )
    if corrections.lag:
        if corrections.late == "torque":
            smooth, turned = shifted(time, smooth, corrections.lag), shifted(time, turned, corrections.lag)
        else:
            level = shifted(time, level, -corrections.lag)
    zero = corrections.zero
    drag = zero.drag(speed)
    seen = drag if zero.includes_drag else np.zeros_like(drag)
    offset = zero.offset + own.torque
    return Conditioned(
        time=time,
        speed=speed,
        pressure=level - own.pressure,
        friction=smooth - offset - seen,
        with_drag=smooth - offset,
        unfiltered=turned - offset - seen,
        drag=drag,
    )


def shifted(time: np.ndarray, values: np.ndarray, lag: float) -> np.ndarray:
    """`values` as they would be `lag` seconds earlier, between samples linearly; the last value holds at the end.

    A sample next to one that is not a number becomes none itself.
    time (s), increasing, values (any unit): (n,); returns (n,).
    """
    return np.interp(time + lag, time, values)
