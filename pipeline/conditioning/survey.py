"""First pass over a test: where its brakings are, and the few figures of each that the test's corrections rest on.

Offset, drag, lag and the balance's line belong to the test, not to a stop: they are found from what is gathered here,
and the second pass reduces every stop with them.
"""

import itertools
from dataclasses import dataclass, field

import numpy as np

from pipeline.conditioning.lag import lag_behind_speed, lag_of_build_up
from pipeline.conditioning.low_pass import filtered
from pipeline.conditioning.medians import mean
from pipeline.conditioning.rest import Reading, reading
from pipeline.conditioning.segments import crossing
from pipeline.conditioning.time_base import (
    all_known,
    jitter,
    known_of,
    median_known,
    median_step,
    not_before,
    picking,
    row_at,
    steps_to_hold,
)
from pipeline.method.conditioning import Conditioning
from pipeline.method.segmentation import Segmentation

GUARD_S = 0.1  # kept clear before the brake start: a leading torque is not at zero there
SETTLING_S = 0.3  # kept clear after the release
AFTER_S = 10.0  # of the time after a release that zero readings are taken from
QUARTERS = 4
LEAST_CORRELATION = 0.6  # of the two build-ups' rates: less is no common build-up
DRAG_SPEED_SHARE = 0.93  # of the start speed: a braking that ends above it held its speed


@dataclass(frozen=True)
class Braking:
    """One braking as found: rows count within its recording; speeds rad/s, pressures Pa above rest, torque N m as
    recorded.
    """

    recording: int
    start: int
    stop: int
    start_s: float
    end_s: float
    speed_start: float
    speed_end: float
    plateau: float
    torque_plateau: float
    rest: Reading | None  # pressure
    torque_rest: Reading | None
    speed_rest: float
    after: tuple[float, float, float] | None  # speed, torque, u: turning with the brake open after the release
    still: Reading | None  # torque at standstill with the brake open
    quarters: np.ndarray = field(repr=False)  # (k, 6): torque, speed, dw/dt, drive torque, duration, dT/dt
    lag: float = float("nan")
    lag_height: float = 0.0
    lag_speed: float = float("nan")
    temperature_initial: float = float("nan")
    step: float = float("nan")
    jitter: float = float("nan")
    begins_inside: bool = False
    ends_inside: bool = False
    ends_by_speed: bool = False
    build_up: float = float("nan")  # s from the start to nine tenths of the plateau

    @property
    def lag_clear(self) -> bool:
        """Whether pressure and torque build up alike enough for their lag to mean something."""
        return self.lag_height >= LEAST_CORRELATION

    @property
    def kind(self) -> str:
        """What it looks like by its speeds alone."""
        if self.speed_end > DRAG_SPEED_SHARE * self.speed_start:
            return "drag"
        return "snub" if self.speed_end > 0.1 * self.speed_start else "stop"


def surveyed(
    channels: dict[str, np.ndarray],
    span: slice,
    before: int,
    after: int,
    *,
    row: int,
    recording: int,
    rest: float,
    conditioning: Conditioning,
    segmentation: Segmentation,
) -> Braking:
    """The figures of the braking `span` of a stretch; `before` and `after` bound the samples that belong to it
    alone.

    channels: name -> (n,) of the stretch as recorded, SI; row: of its first sample in the recording; rest: pressure
    at rest (Pa).
    """
    time, speed = channels["time"], channels["speed"]
    torque, above = channels["torque"], channels["pressure"] - rest
    start_s, end_s = moments(time, speed, above, span, segmentation)
    lead = slice(
        max(row_at(time, start_s - conditioning.zero_window - GUARD_S, before, span.start), before), span.start
    )
    quiet = slice(lead.start, row_at(time, start_s - GUARD_S, lead.start, span.start))
    tail_start = row_at(time, end_s + SETTLING_S, span.stop, after)
    tail = slice(tail_start, row_at(time, end_s + SETTLING_S + AFTER_S, tail_start, after))
    half = slice((span.start + span.stop) // 2, span.stop)
    plateau = median_known(above[half])
    after_reading, still = _readings_after(speed[tail], torque[tail], above[tail], segmentation)
    braking = time[span]  # one array, whose median step is kept
    lag, height, lag_speed = _lags(channels, above, span, before, after, conditioning, step=median_step(braking))
    return Braking(
        recording=recording,
        start=row + span.start,
        stop=row + span.stop,
        start_s=start_s,
        end_s=end_s,
        speed_start=speed_at(time, speed, start_s, slice(quiet.start, span.start + 1), span),
        speed_end=speed_at(time, speed, end_s, slice(max(span.stop - 6, span.start), span.stop), span),
        plateau=plateau,
        torque_plateau=median_known(torque[half]),
        rest=reading(channels["pressure"][quiet]),
        torque_rest=reading(torque[quiet]),
        speed_rest=median_known(speed[quiet]),
        after=after_reading,
        still=still,
        quarters=_quarters(channels, above, span, plateau, braking),
        lag=lag,
        lag_height=height,
        lag_speed=lag_speed,
        temperature_initial=_mean(channels["disc_temperature"][lead.start : span.start + 1]),
        step=median_step(braking),
        jitter=jitter(braking),
        build_up=_build_up(time, above, span, plateau),
        ends_by_speed=bool(span.stop < time.size and above[span.stop] > segmentation.off_pressure),
        begins_inside=bool((above[before : span.start + 1] > segmentation.off_pressure).all()),
        ends_inside=bool(
            span.stop >= time.size
            and above[span.stop - 1] > segmentation.on_pressure
            and speed[span.stop - 1] > segmentation.turning_speed
        ),
    )


def moments(
    time: np.ndarray, speed: np.ndarray, above: np.ndarray, span: slice, settings: Segmentation
) -> tuple[float, float]:
    """Start and end of a braking (s), between samples: on-threshold passed; off-threshold or lower speed, what came
    first.

    time (s), speed (rad/s), above (pressure above rest, Pa): (n,) of the stretch; span: the braking in it.
    """
    start = crossing(time, above, settings.on_pressure, span.start)
    if span.stop >= time.size:
        return start, float(time[-1])
    if above[span.stop] <= settings.off_pressure:
        return start, crossing(time, above, settings.off_pressure, span.stop)
    return start, crossing(time, speed, settings.lower_speed, span.stop)


def _build_up(time: np.ndarray, above: np.ndarray, span: slice, plateau: float) -> float:
    reached = np.flatnonzero(above[span] >= 0.9 * plateau)
    return float(time[span.start + reached[0]] - time[span.start]) if reached.size else float("nan")


def _mean(values: np.ndarray) -> float:
    finite = known_of(values)
    return mean(finite) if finite.size else float("nan")


def speed_at(time: np.ndarray, speed: np.ndarray, moment: float, near: slice, otherwise: slice) -> float:
    """Speed at `moment` (rad/s) from a straight line through the samples in `near`; through the first of `otherwise`
    where too few.

    time (s), speed (rad/s): (n,); NaN where no speed is known.
    """
    for part in (near, slice(otherwise.start, min(otherwise.start + 6, otherwise.stop))):
        t, w = time[part], speed[part]
        if not all_known(w):
            good = np.isfinite(w)
            t, w = t[good], w[good]
        if w.size >= 4:
            t = t - moment
            middle = mean(t)
            spread = t - middle
            slope = float(spread @ w) / max(float(spread @ spread), 1e-300)
            return max(mean(w) - slope * middle, 0.0)
    finite = speed[otherwise][np.isfinite(speed[otherwise])]
    return float(finite[0]) if finite.size else float("nan")


def _readings_after(
    speed: np.ndarray, torque: np.ndarray, above: np.ndarray, settings: Segmentation
) -> tuple[tuple[float, float, float] | None, Reading | None]:
    rest = np.abs(above) < settings.off_pressure / 2
    turning, still = rest & (speed > settings.turning_speed), rest & (speed < 0.3 * settings.lower_speed)
    rows = picking(turning)
    after = reading(torque[rows]) if np.count_nonzero(turning) >= 10 else None
    found = (_mean(speed[rows]), after.value, after.u) if after else None
    return found, reading(torque[still]) if np.count_nonzero(still) >= 10 else None


def _quarters(
    channels: dict[str, np.ndarray], above: np.ndarray, span: slice, plateau: float, time: np.ndarray
) -> np.ndarray:
    """Mean torque, mean speed, dw/dt, mean drive torque, duration and dT/dt of each quarter of the braking at its
    level.

    A straight line through a quarter's speeds gives dw/dt with far less noise than differences do. time: of the span.
    """
    level = (above[span] > 0.9 * plateau).nonzero()[0]
    if level.size:
        # A torque that lags is still rising when the pressure stands.
        level = level[not_before(time, time[level[0]] + GUARD_S)[level]]
    if level.size < QUARTERS * 6:
        return np.empty((0, 6))
    first, last = span.start + int(level[0]), span.start + int(level[-1]) + 1
    edges = np.linspace(first, last, QUARTERS + 1).astype(int)
    at, speed, torques = (channels[name][first:last] for name in ("time", "speed", "torque"))
    drives = channels["drive_torque"][first:last] if "drive_torque" in channels else None
    known = np.isfinite(speed) & np.isfinite(torques)
    if drives is not None:
        known &= np.isfinite(drives)
    rising = at[1:] > at[:-1]
    sound, rows = known.all() and rising.all(), []
    for a, b in itertools.pairwise((edges - first).tolist()):
        if not sound and not (known[a:b].all() and rising[a : b - 1].all()):
            continue
        t, w, torque = at[a:b], speed[a:b], torques[a:b]
        shifted = t - mean(t)
        # The line's slope weighs the middle most; the torque is weighed alike, so that both see the same moments.
        weight = _slope_weights(shifted)
        square = float(shifted @ shifted)
        slope = float(shifted @ w) / square
        rows.append(
            (
                float(weight @ torque),
                mean(w),
                slope,
                float(weight @ drives[a:b]) if drives is not None else 0.0,
                float(t[-1] - t[0]),
                float(shifted @ torque) / square,
            )
        )
    return np.array(rows).reshape(-1, 6)


def _slope_weights(shifted: np.ndarray) -> np.ndarray:
    """Weights of the rate dw/dt in a straight line's slope (the slope is a weighted mean of the rate), sum 1."""
    tail = -np.cumsum(shifted)[:-1] * (shifted[1:] - shifted[:-1])
    weight = np.zeros(shifted.size)
    weight[:-1] += tail
    weight[1:] += tail
    return weight / np.add.reduce(weight)


def _lags(
    channels: dict[str, np.ndarray],
    above: np.ndarray,
    span: slice,
    before: int,
    after: int,
    settings: Conditioning,
    *,
    step: float,
) -> tuple[float, float, float]:
    time = channels["time"]
    if not step > 0:
        return float("nan"), 0.0, float("nan")
    margin = steps_to_hold(settings.largest_lag + 0.2, step)
    high = median_known(above[span.start + (span.stop - span.start) // 4 : span.stop])
    reached = np.flatnonzero(above[span] > 0.9 * high)
    if reached.size == 0:
        return float("nan"), 0.0, float("nan")
    top = min(span.start + int(reached[0]) + margin, after)
    wide = slice(max(span.start - margin, before), top)
    both = np.array([channels["pressure"][wide], channels["torque"][wide]])
    pressure, torque = filtered(time[wide], both, cutoff=settings.filter_cutoff, order=settings.filter_order)
    sign = np.sign(median_known(channels["torque"][span])) or 1.0
    lag, height = lag_of_build_up(pressure, sign * torque, step, longest=settings.largest_lag)
    whole = slice(wide.start, span.stop)
    behind = lag_behind_speed(time[whole], channels["speed"][whole], sign * channels["torque"][whole])
    return lag, height, behind
