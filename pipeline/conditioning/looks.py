"""A coarse look at every braking of a test before anything is conditioned, to tell whether its units can be right.

A braking is pressure above a tenth of the recording's highest; of it the median pressure and torque over what they are
elsewhere, the speeds at both ends, the work, the sample period.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.conditioning.channels_file import ChannelsFile
from pipeline.conditioning.medians import median
from pipeline.conditioning.passes import rests_of
from pipeline.conditioning.rest import Rest
from pipeline.conditioning.segments import runs
from pipeline.conditioning.stretches import recordings_in

COLUMNS = ["recording", "time", "speed", "torque", "pressure"]
APPLIED = 0.1  # of the recording's highest pressure: a series has low applications beside high ones
SHORTEST = 6  # samples of a braking


@dataclass(frozen=True)
class Look:
    """What a braking looks like, SI: sample period, pressure and torque over rest, speeds, work."""

    recording: int
    samples: int
    step: float
    pressure: float
    torque: float
    first: float
    last: float
    work: float


def looks(file: ChannelsFile, rests: dict[int, Rest]) -> list[Look]:
    """Every braking of the channels file, in order; one that a read's end cuts in two counts twice."""
    found: list[Look] = []
    for table in file.parts(COLUMNS):
        columns = [table[name].cast(pl.Float64).to_numpy() for name in COLUMNS[1:]]
        for recording, rows in recordings_in(table["recording"].to_numpy()):
            if recording in rests:
                found += looks_in(recording, [c[rows] for c in columns], rests[recording])
    return found


def looks_in(recording: int, columns: Sequence[np.ndarray], rest: Rest) -> list[Look]:
    """Every braking of one recording. columns: time, speed, torque, pressure, (n,) each, SI."""
    time, speed, torque, pressure = columns
    height = rest.high - rest.level
    if not height > 0:
        return []
    high = pressure - rest.level > APPLIED * height
    known = np.isfinite(time) & np.isfinite(speed) & np.isfinite(torque)
    elsewhere = torque[~high & known]
    zero = median(elsewhere) if elsewhere.size else 0.0
    found = []
    for a, b in runs(high):
        inside = np.flatnonzero(known[a:b]) + a
        if inside.size < SHORTEST:
            continue
        t, w, m = time[inside], np.abs(speed[inside]), torque[inside] - zero
        level = median(pressure[inside]) - rest.level
        found.append(
            Look(
                recording,
                inside.size,
                median(np.diff(t)),
                level,
                abs(median(m)),
                median(w[:3]),
                median(w[-3:]),
                abs(float(np.trapezoid(m * w, t))),
            )
        )
    return found


def first_look(file: ChannelsFile, *, one_per_recording: bool) -> tuple[dict[int, Rest], list[Look]]:
    """Pressure at rest of each recording of the channels file, and its brakings: of one-stop recordings the largest
    each.
    """
    rests = rests_of(file)
    found = looks(file, rests)
    return rests, largest(found) if one_per_recording else found


def largest(found: Sequence[Look]) -> list[Look]:
    """The braking with most torque over its length, of each recording."""
    best: dict[int, Look] = {}
    for look in found:
        old = best.get(look.recording)
        if old is None or look.torque * look.samples > old.torque * old.samples:
            best[look.recording] = look
    return [best[number] for number in sorted(best)]
