"""Faults that make a braking look shorter than it was: channels that lose samples at its start or its end.

mu stays plausible then and the energy balance closes over what is left. What gives it away is beside the braking:
torque where the pressure says that the brake is open, or a speed that jumps as no shaft can.
"""

import numpy as np

from pipeline.conditioning.medians import median, quantiles
from pipeline.conditioning.time_base import known_of, not_after, not_before, rows_within, within
from pipeline.constants import MAD_TO_SD, RPM
from pipeline.findings import Finding, finding

REACH_S = 1.0  # looked at before the start and after the end
RISE_S = 0.1  # before the start torque may lead by this, besides the lag
FALL_S = 0.35  # after the end it may need this to fall
SHARE = 0.2  # of the braking's torque
SUDDEN = 0.4  # of the braking's torque, at the very start or end, above what the threshold pressure itself gives
SHORTEST_S = 0.06
LEAST_SAMPLES = 3
NOISE_SIGMAS = 6.0
JUMP_SHARE = 0.1  # of the speed at the start, in one sample period
JUMP_RATE = 6.0  # times the braking's mean rate


def torque_without_pressure(
    time: np.ndarray,
    torque: np.ndarray,
    *,
    start: float,
    end: float,
    plateau: float,
    lag: float | None,
    after: bool,
    threshold: float = 0.05,
) -> list[Finding]:
    """A finding where torque stands well above its rest beside the braking from `start` to `end` (s).

    time, torque: (n,) from the end of the braking before to the start of the next, torque positive when it slows the
    shaft (N m). plateau: the braking's own torque as recorded; lag: between the channels, s, None where it is not
    known; threshold: the pressure at which braking is taken to begin, over its plateau; after: look behind the end
    too (not where the shaft stands still there with the brake applied).
    """
    inside = rows_within(time, start, end)
    seen = known_of(np.delete(torque, inside))
    if seen.size < LEAST_SAMPLES or not np.isfinite(plateau):
        return []
    lowest, highest = seen.min(), seen.max()
    # The lower the rest, the larger the share: where even above the lowest sample it is small, no quantile is needed.
    if plateau <= lowest or (highest - lowest) / (plateau - lowest) <= SHARE:
        return []
    (rest,) = quantiles(seen, 0.1)
    if plateau <= rest or (highest - rest) / (plateau - rest) <= SHARE:
        return []
    known = np.isfinite(torque)
    known[inside] = False
    share = np.where(known, (torque - rest) / (plateau - rest), 0.0)
    # Neighbours differ by noise alone almost everywhere: what the noise reaches is no torque.
    noise = NOISE_SIGMAS * MAD_TO_SD * median(np.abs(np.diff(seen))) / np.sqrt(2) / (plateau - rest)
    late = abs(lag or 0.0)
    step = float(np.median(np.diff(time)))
    before = within(time, start - REACH_S, start - RISE_S - late)
    behind = within(time, end + FALL_S + late, end + REACH_S) & after
    found = []
    for where, words, edge in ((before, "before the start", start), (behind, "after the end", end)):
        high = np.flatnonzero(where & (share > max(SHARE, noise)))
        if high.size < LEAST_SAMPLES or time[high[-1]] - time[high[0]] < SHORTEST_S:
            # One period and the lag away from the edge nothing is left of a braking whose pressure was recorded whole.
            away = start - late - 1.5 * step if edge == start else end + late + 1.5 * step
            near = within(time, away - 1.5 * step, away) if edge == start else not_before(time, away) & after
            close = near & not_after(time, away + 1.5 * step)
            high = np.flatnonzero(close & (share > max(SUDDEN + threshold, noise)))
            if lag is None or not high.size:
                continue
        level = float(np.mean(torque[high]))
        found.append(
            finding(
                "torque_without_pressure",
                f"torque stands at {level:.0f} N m {words} of the braking while the pressure is at rest",
                channel="pressure",
                start_s=float(time[high[0]]),
                end_s=float(time[high[-1]]),
                evidence={"torque_nm": level, "rest_nm": rest, "braking_nm": plateau, "samples": int(high.size)},
            )
        )
    return found


def speed_jumps(
    time: np.ndarray, speed: np.ndarray, *, start: float, end: float, first: float, last: float
) -> list[Finding]:
    """A finding where the speed jumps within or beside the braking from `start` to `end` (s), `first` to `last` rad/s.

    time, speed: (n,) from the end of the braking before to the start of the next. A jump is a change from one sample
    to the next by more than a tenth of the first speed, and faster than six times the braking's mean rate allows.
    """
    near = rows_within(time, start - REACH_S, end + REACH_S)
    moments, values = time[near], speed[near]
    seen = np.isfinite(values)
    if not seen.all():
        moments, values = moments[seen], values[seen]
    if values.size < LEAST_SAMPLES or not first > 0:
        return []
    change = np.abs(values[1:] - values[:-1])
    if change.max() <= JUMP_SHARE * first:
        return []
    rate = abs(first - last) / max(end - start, 1e-3)
    step = np.clip(np.diff(moments), 0, None)
    jumps = np.flatnonzero(change > np.maximum(JUMP_SHARE * first, JUMP_RATE * rate * step))
    if not jumps.size:
        return []
    at, worst = int(jumps[0]), int(jumps[np.argmax(change[jumps])])
    return [
        finding(
            "speed_jump",
            f"speed jumps from {values[worst] * RPM:.0f} to {values[worst + 1] * RPM:.0f} rpm between two samples",
            channel="speed",
            start_s=float(moments[at]),
            end_s=float(moments[min(jumps[-1] + 1, moments.size - 1)]),
            evidence={"jumps": int(jumps.size), "from_rpm": values[worst] * RPM, "to_rpm": values[worst + 1] * RPM},
        )
    ]
