"""Faults in the samples of one braking and its zero windows.

Time base (gaps, time that does not increase), missing and held values, flat tops at the range's end, single wild
samples, thermocouples open or stuck, recordings that begin or end inside the braking.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from pipeline.conditioning.medians import median
from pipeline.conditioning.time_base import all_known, backward_indices, gap_indices, repeated_indices, within
from pipeline.constants import ZERO_C
from pipeline.findings import Finding, finding
from pipeline.wording import counted

HELD_SAMPLES = 10
FLAT_SAMPLES = 5
JUMP_K = 200.0  # within one sample: faster than a disc can warm or cool (common practice)
COLDEST_K, HOTTEST_K = 223.0, 1640.0  # outside, a thermocouple is open or wired wrongly
STUCK_ENERGY_J = 20e3
REVERSED_SHARE = 0.2
BESIDE, LEAST_BESIDE = 40, 8  # samples on either side of a gap that tell how the shaft slows
LEAP_SHARE = (
    0.1  # of the speed at the start: less falls within what a clock a sample off does to the work (own judgement)
)


def braking_faults(
    channels: Mapping[str, np.ndarray],
    span: slice,
    lead: int,
    *,
    gap_periods: float,
    step: float,
    full_scales: Mapping[str, float],
    energy: float,
    begins_inside: bool,
    ends_inside: bool,
    moving: bool,
) -> list[Finding]:
    """Findings, without stop and file, of the braking `span` whose zero window begins at sample `lead`.

    channels: (n,) arrays SI as recorded; step: median sample period (s); energy: friction work of the braking (J);
    moving: the speed changes over the braking (not a drag).
    """
    whole = slice(lead, span.stop)
    # With the sample behind the braking, against which its end is interpolated.
    edge = channels["time"][lead : span.stop + 1]
    speed = channels["speed"][lead : span.stop + 1] if moving else None
    found = [
        *_time_faults(edge, gap_periods, step, speed, span.start - lead),
        *_ends(channels, span, begins_inside, ends_inside),
    ]
    for name in ("torque", "pressure", "speed"):
        found += _missing(name, channels["time"][span], channels[name][span])
        quiet = channels[name][lead : span.start]
        if name != "speed" or moving:
            found += _held(name, channels["time"][span], channels[name][span], quiet, step)
        if name != "speed":
            found += _flat_top(name, channels["time"][span], channels[name][span], quiet, full_scales.get(name))
    return found + _thermocouple(
        channels["time"][whole], channels["disc_temperature"][whole], span.start - lead, energy
    )


def _where(time: np.ndarray, first: int, last: int) -> dict[str, Any]:
    return {"start_s": float(time[first]), "end_s": float(time[min(last, time.size - 1)])}


def _time_faults(
    time: np.ndarray, gap_periods: float, step: float, speed: np.ndarray | None, begin: int
) -> list[Finding]:
    """speed: at the samples, None in a drag; begin: the braking's first sample."""
    steps, found = time[1:] - time[:-1], []
    if steps.size and steps.min() > 0 and steps.max() <= gap_periods * step:
        return []
    backward = backward_indices(time)
    if backward.size:
        i = int(backward[0])
        found.append(
            finding(
                "time_backwards",
                f"time does not increase at {time[i]:.3f} s: next sample {time[i + 1]:.3f} s",
                channel="time",
                **_where(time, i, i + 1),
                evidence={"steps": int(backward.size)},
            )
        )
    repeated = repeated_indices(time)
    if repeated.size:
        i = int(repeated[0])
        found.append(
            finding(
                "time_repeated",
                f"{counted(repeated.size, 'sample')} with the time of the sample before",
                channel="time",
                **_where(time, i, int(repeated[-1]) + 1),
                evidence={"samples": int(repeated.size), "of": int(time.size)},
            )
        )
    for i in gap_indices(time, periods=gap_periods, step=step):
        length = float(time[i + 1] - time[i])
        if speed is not None and i >= begin and _leaps(time, speed, begin, int(i), step):
            text = (
                f"time leaps by {length:.3f} s within the braking while the shaft hardly slows: the clock was set, "
                "and without a time base there is no integral"
            )
            found.append(
                finding("time_leaps", text, channel="time", **_where(time, i, i + 1), evidence={"leap_s": length})
            )
            continue
        found.append(
            finding(
                "time_gap",
                f"no samples for {length:.3f} s inside the braking or its zero window",
                channel="time",
                **_where(time, i, i + 1),
                evidence={"gap_s": length, "sample_period_s": step},
            )
        )
    return found


def _leaps(time: np.ndarray, speed: np.ndarray, begin: int, i: int, step: float) -> bool:
    """Whether the clock was set between samples i and i + 1: a pause of the recorder would show in the speed.

    The shaft slows within the braking at least as it does beside the gap, on the side where it slows less. Over a
    pause the speed falls by that times the pause; the clock leapt where it fell by less than half of that, and where
    that is a tenth or more of the speed at the start: less moves the work by less than the speed can tell.
    """
    rates = []
    for part in (slice(max(i + 1 - BESIDE, begin), i + 1), slice(i + 1, i + 1 + BESIDE)):
        t, v = time[part], speed[part]
        if t.size >= LEAST_BESIDE and np.isfinite(v).all() and 0 < np.ptp(t) < 2 * BESIDE * step:
            rates.append(float(np.polyfit(t - t[0], v, 1)[0]))
    if not rates:
        return False
    fall = -max(rates) * float(time[i + 1] - time[i])
    return fall > LEAP_SHARE * float(speed[begin]) and float(speed[i] - speed[i + 1]) < fall / 2


def _ends(channels: Mapping[str, np.ndarray], span: slice, begins_inside: bool, ends_inside: bool) -> list[Finding]:
    time, found = channels["time"], []
    if begins_inside:
        found.append(
            finding(
                "clipped_start",
                "the recording begins with the brake applied: start and zero readings are missing",
                **_where(time, span.start, span.start),
                evidence={"pressure_pa": float(channels["pressure"][span.start])},
            )
        )
    if ends_inside:
        found.append(
            finding(
                "clipped_end",
                "the recording ends with the brake applied and the shaft turning",
                **_where(time, span.stop - 1, span.stop - 1),
                evidence={"speed_rad_s": float(channels["speed"][span.stop - 1])},
            )
        )
    return found


def _missing(name: str, time: np.ndarray, values: np.ndarray) -> list[Finding]:
    if all_known(values):
        return []
    bad = np.flatnonzero(~np.isfinite(values))
    if not bad.size:
        return []
    return [
        finding(
            "dropout",
            f"{bad.size} of {values.size} samples of {name} in the braking are no number",
            channel=name,
            **_where(time, int(bad[0]), int(bad[-1])),
            evidence={"samples": int(bad.size), "of": int(values.size)},
        )
    ]


def _longest_equal(values: np.ndarray) -> tuple[int, int]:
    """Start and length of the longest run of equal neighbours."""
    if values.size < 2:
        return 0, values.size
    change = (values[1:] != values[:-1]).nonzero()[0] + 1
    edges = np.concatenate([[0], change, [values.size]])
    lengths = edges[1:] - edges[:-1]
    longest = int(np.argmax(lengths))
    return int(edges[longest]), int(lengths[longest])


def _noisy(before: np.ndarray) -> bool:
    """Whether a channel is noisy at rest; a computed or smoothed one that stands still there may stand still in
    braking.
    """
    finite = before[np.isfinite(before)]
    return finite.size >= HELD_SAMPLES and _mostly_distinct(finite)


def _mostly_distinct(values: np.ndarray) -> bool:
    """Whether neighbours differ as they do in a noisy channel: a run of equal ones then means something."""
    return values.size > 2 and float(np.mean(values[1:] == values[:-1])) < 0.3


def _held(name: str, time: np.ndarray, values: np.ndarray, before: np.ndarray, step: float) -> list[Finding]:
    """One value for many samples, in a channel that is noisy before the braking and in the rest of it."""
    if np.count_nonzero(values[1:] == values[:-1]) < HELD_SAMPLES - 1:
        return []
    start, length = _longest_equal(values)
    if length < HELD_SAMPLES or length * step < 0.05:
        return []
    others = np.delete(values, slice(start, start + length))
    if not (_noisy(before) and _mostly_distinct(others)):
        return []
    top = np.nanmax(values)
    if name != "speed" and values[start] == top:
        return []  # a flat top is a finding of its own
    return [
        finding(
            "held_value",
            f"{name} stands still at one value for {length} samples",
            channel=name,
            **_where(time, start, start + length - 1),
            evidence={"samples": length, "value_si": float(values[start])},
        )
    ]


def _flat_top(
    name: str, time: np.ndarray, values: np.ndarray, before: np.ndarray, full_scale: float | None
) -> list[Finding]:
    """Equal highest values in a row, at the range's end or in a channel that is noisy elsewhere (`before`: at rest)."""
    size = np.abs(values)
    top = float(np.fmax.reduce(size, initial=-1.0))
    at_top = size == top
    if np.count_nonzero(at_top) < FLAT_SAMPLES:
        return []
    start, length = _longest_equal(np.where(at_top, 1.0, np.arange(size.size) * -1.0))
    if length < FLAT_SAMPLES or not at_top[start] or top <= 0:
        return []
    at_range_end = full_scale is not None and top >= 0.98 * full_scale
    if not at_range_end and not _noisy(before):
        return []
    return [
        finding(
            "saturated",
            f"{name} is cut off flat at its highest value over {length} samples",
            channel=name,
            **_where(time, start, start + length - 1),
            evidence={"samples": int(at_top.sum()), "value_si": top, "full_scale_si": full_scale},
        )
    ]


def _thermocouple(time: np.ndarray, temperature: np.ndarray, start: int, energy: float) -> list[Finding]:
    finite = np.isfinite(temperature)
    name = "disc_temperature"
    if not finite.any():
        return [finding("thermocouple_missing", "disc temperature has no value in this braking", channel=name)]
    values, moments = (temperature, time) if finite.all() else (temperature[finite], time[finite])
    steps, lowest, highest = np.abs(values[1:] - values[:-1]), values.min(), values.max()
    if steps.max(initial=0.0) > JUMP_K or lowest < COLDEST_K or highest > HOTTEST_K:
        jumps = np.flatnonzero(steps > JUMP_K)
        outside = np.flatnonzero((values < COLDEST_K) | (values > HOTTEST_K))
        i = int(jumps[0] if jumps.size else outside[0])
        evidence = {
            "jumps": int(jumps.size),
            "lowest_c": float(lowest - ZERO_C),
            "highest_c": float(highest - ZERO_C),
        }
        return [
            finding(
                "thermocouple_open",
                "disc temperature jumps faster than a disc can or leaves its range: an open circuit",
                channel=name,
                **_where(moments, i, i + 1),
                evidence=evidence,
            )
        ]
    braking = temperature[start:][finite[start:]]
    if braking.size >= 20 and np.ptp(braking) == 0 and abs(energy) > STUCK_ENERGY_J:
        return [
            finding(
                "thermocouple_stuck",
                f"disc temperature stands still while {energy / 1e3:.0f} kJ went in",
                channel=name,
                **_where(time, start, time.size - 1),
                evidence={"energy_kj": energy / 1e3, "value_c": float(braking[0] - ZERO_C)},
            )
        ]
    return []


def reversed_torque(time: np.ndarray, friction: np.ndarray, *, start: float, end: float) -> list[Finding]:
    """A finding where friction torque turns negative within the braking: no brake drives the shaft.

    time (s), friction (N m, offset and drag off): (n,); a fifth of the median in two samples or more counts.
    """
    inside = within(time, start, end) & np.isfinite(friction)
    if not friction[inside].min(initial=0.0) < 0:
        return []
    typical = median(np.abs(friction[inside]))
    at = np.flatnonzero(inside & (friction < -REVERSED_SHARE * typical))
    if at.size < 2:
        return []
    return [
        finding(
            "torque_reversed",
            f"torque turns negative within the braking, in {at.size} samples",
            channel="torque",
            **_where(time, int(at[0]), int(at[-1])),
            evidence={"samples": int(at.size), "lowest_nm": float(friction[at].min()), "typical_nm": typical},
        )
    ]
