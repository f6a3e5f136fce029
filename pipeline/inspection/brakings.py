"""The brakings of a recording by the channels guessed, found as a run finds them (`conditioning.segments`)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.conditioning.segments import brakings
from pipeline.constants import ZERO_C
from pipeline.method.segmentation import Segmentation

HELD, STOPPED = 0.93, 0.1  # of the start speed: above, speed was held; below, the shaft stopped
BEFORE_S = 0.5
MOST = 200  # brakings that say the inertia


@dataclass(frozen=True)
class Braking:
    """One braking: the file, start in its own time (s), duration (s), speeds (rad/s, or m/s of a linear channel), mean pressure
    (Pa) and torque (N m) over its last half, temperature (K) before and highest after; rows of the table."""

    file: str
    start_s: float
    duration_s: float
    speed_start: float
    speed_end: float
    pressure: float
    torque: float
    temperature_initial: float
    temperature_peak: float
    kind: str
    rows: tuple[int, int]
    cut: bool = False


def found(file: str, channels: dict[str, np.ndarray]) -> list[Braking]:
    """Brakings of one recording. channels: time (s), speed, pressure, torque, disc_temperature, SI, (n,) each; a missing one is NaN."""
    time, speed, pressure = channels["time"], np.abs(channels["speed"]), channels["pressure"]
    if not np.isfinite(pressure).any() or not np.isfinite(speed).any():
        return []
    spans = brakings(time, speed, pressure, Segmentation())
    ends = [*(span.start for span in spans), time.size][1:]
    return [_braking(file, channels, span, end) for span, end in zip(spans, ends, strict=True)]


def _braking(file: str, channels: dict[str, np.ndarray], span: slice, until: int) -> Braking:
    time, speed = channels["time"], np.abs(channels["speed"])
    last = min(span.stop, time.size) - 1
    half = slice((span.start + span.stop) // 2, span.stop)
    start = _median(speed[max(span.start - 3, 0) : span.start + 2])
    end = _median(speed[max(last - 2, span.start) : last + 2])
    before = slice(int(np.searchsorted(time[: span.start], time[span.start] - BEFORE_S)), span.start + 1)
    temperature = channels["disc_temperature"]
    kind = "drag" if end > HELD * start else "snub" if end > STOPPED * start else "stop"
    return Braking(
        file=file,
        start_s=float(time[span.start]),
        duration_s=float(time[last] - time[span.start]),
        speed_start=start,
        speed_end=end,
        pressure=_median(channels["pressure"][half]),
        torque=abs(_median(channels["torque"][half])),
        temperature_initial=_median(temperature[before]),
        temperature_peak=float(np.nanmax(temperature[span.start : until]))
        if np.isfinite(temperature[span.start : until]).any()
        else float("nan"),
        kind=kind,
        rows=(span.start, span.stop),
        cut=span.start == 0 or span.stop >= time.size,
    )


def _median(values: np.ndarray) -> float:
    finite = np.sort(values[np.isfinite(values)])
    return float(finite[finite.size // 2]) if finite.size else float("nan")


def lead_of(channels: dict[str, np.ndarray], several: list[Braking]) -> float:
    """By how many seconds pressure passes half its level before torque does, median; NaN without both."""
    leads = []
    for one in several[:: max(len(several) // MOST, 1)]:
        first = max(one.rows[0] - (one.rows[1] - one.rows[0]) // 4, 0)
        part = slice(first, (one.rows[0] + one.rows[1]) // 2)
        half = {"pressure": one.pressure / 2, "torque": one.torque / 2}
        at = [np.flatnonzero(np.abs(channels[name][part]) > level) for name, level in half.items()]
        if all(found_.size for found_ in at) and at[0][0] > 0 and at[1][0] > 0:
            leads.append(float(channels["time"][part][at[1][0]] - channels["time"][part][at[0][0]]))
    return float(np.median(leads)) if leads else float("nan")


def holds_of(several: Sequence[Braking]) -> str:
    """stop: one braking a recording, most often; series: several."""
    counts = sorted(Counter(one.file for one in several).values())
    return "series" if counts and counts[len(counts) // 2] > 1 else "stop"


def inertia_of(channels: dict[str, np.ndarray], several: list[Braking]) -> float:
    """What torque and speed say of the inertia (kg m^2): median of T / (-dw/dt) over the brakings' last half; NaN without any."""
    ratios = []
    braked = [one for one in several if one.kind != "drag"]
    for one in braked[:: max(len(braked) // MOST, 1)]:
        a, b = one.rows
        part = slice((a + b) // 2, max(b - (b - a) // 20, a + 1))
        time, speed, torque = (channels[n][part] for n in ("time", "speed", "torque"))
        known = np.isfinite(speed) & np.isfinite(torque)
        if known.sum() < 5:
            continue
        clock = time[known] - time[known].mean()
        slope = float(clock @ np.abs(speed[known])) / max(float(clock @ clock), 1e-300)
        if slope < 0:
            ratios.append(abs(float(torque[known].mean())) / -slope)
    return float(np.median(ratios)) if ratios else float("nan")


def celsius(kelvin: float) -> float:
    return kelvin - ZERO_C
