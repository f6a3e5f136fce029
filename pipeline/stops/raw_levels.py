"""A look at each recording before anything is reduced: is it in units in which brakings, zeros and windows can be found?

A recording in a grossly other unit than the rest (a factor of four and more) spoils what the whole test shares: its
thresholds, zeros and drag. Such recordings are set apart, with the reason, and the others reduced without them. Where the
time of a whole test is in another unit nothing can be reduced: windows, filters and lags are all lengths of time.

The look is coarse: of each braking (pressure above a tenth of the highest) the median pressure and torque over what they
are elsewhere, the speeds at both ends, the work, the sample period.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.conditioning.faults.unit_witness import Found, slips_found
from pipeline.conditioning.rest import Rest
from pipeline.stops.reduction import Setup
from pipeline.stops.segments import runs
from pipeline.stops.stretches import BATCH_ROWS

COLUMNS = ["recording", "time", "speed", "torque", "pressure"]
GROSS = 4.0
TRIED: tuple[str, ...] = ("pressure", "speed", "torque", "time")
APPLIED = 0.1  # of the recording's highest pressure: a series has low applications beside high ones
SHORTEST = 6  # samples of a braking
HELD_SPEED = 0.9  # of the start: above it the work tells nothing
TOLERANCE = {"pressure": 0.3, "speed": 0.3, "torque": 0.3, "balance": 0.3, "drive": 0.3, "duration": 0.3, "mu": 0.3}
MU = (0.015, 2.5)  # wider than any brake material: what lies outside is no friction
PERIOD = (2e-5, 1.2)  # s: no rig samples a braking faster or slower
SLACK = 1.5  # of the schedule's lowest and highest level


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


def looks(path: Path, rests: dict[int, Rest]) -> list[Look]:
    """Every braking of the channels file, in order; one that a read's end cuts in two counts twice."""
    import pyarrow.parquet as pq

    found: list[Look] = []
    with pq.ParquetFile(path) as file:
        for table in file.iter_batches(batch_size=BATCH_ROWS, columns=COLUMNS):
            number, *columns = (
                np.asarray(table.column(name).to_numpy(zero_copy_only=False), dtype=float) for name in COLUMNS
            )
            edges = np.r_[0, np.flatnonzero(np.diff(number)) + 1, number.size]
            for first, last in itertools.pairwise(edges):
                recording = int(number[first]) if last > first else -1
                if recording in rests:
                    found += _brakings(recording, [c[first:last] for c in columns], rests[recording])
    return found


def _brakings(recording: int, columns: Sequence[np.ndarray], rest: Rest) -> list[Look]:
    time, speed, torque, pressure = columns
    height = rest.high - rest.level
    if not height > 0:
        return []
    with np.errstate(invalid="ignore"):
        high = pressure - rest.level > APPLIED * height
    known = np.isfinite(time) & np.isfinite(speed) & np.isfinite(torque)
    elsewhere = torque[~high & known]
    zero = float(np.median(elsewhere)) if elsewhere.size else 0.0
    found = []
    for a, b in runs(high):
        inside = np.flatnonzero(known[a:b]) + a
        if inside.size < SHORTEST:
            continue
        t, w, m = time[inside], np.abs(speed[inside]), torque[inside] - zero
        level = float(np.median(pressure[inside])) - rest.level
        found.append(
            Look(
                recording, inside.size, float(np.median(np.diff(t))), level, abs(float(np.median(m))),
                float(np.median(w[:3])), float(np.median(w[-3:])), abs(float(np.trapezoid(m * w, t))),
            )
        )  # fmt: skip
    return found


def largest(found: Sequence[Look]) -> list[Look]:
    """The braking with most torque over its length, of each recording."""
    best: dict[int, Look] = {}
    for look in found:
        old = best.get(look.recording)
        if old is None or look.torque * look.samples > old.torque * old.samples:
            best[look.recording] = look
    return [best[number] for number in sorted(best)]


def gross_slips(brakings: Sequence[Look], card: Card, setup: Setup, levels: pl.DataFrame) -> list[Found]:
    """Unit slips by a factor of four or more over the brakings given, by their order."""
    if not brakings:
        return []
    table = {
        name: np.array([getattr(b, name) for b in brakings])
        for name in ("step", "pressure", "torque", "first", "last", "work")
    }
    lever = 2 * setup.efficiency * setup.piston_area * setup.radius
    with np.errstate(divide="ignore", invalid="ignore"):
        kinetic = 0.5 * setup.inertia * (table["first"] ** 2 - table["last"] ** 2)
        braked = table["last"] < HELD_SPEED * table["first"]
        values = {
            "pressure": np.log(table["pressure"]),
            "speed": np.log(table["first"]),
            "mu": np.log(table["torque"] / (lever * table["pressure"])),
            "balance": np.where(braked, np.log(table["work"] / kinetic), np.nan),
            "duration": np.log(table["step"]),
        }
    values = {name: np.where(np.isfinite(v), v, np.nan) for name, v in values.items()}
    bands = {"mu": MU, "duration": PERIOD} | _bands(levels)
    for name in ("pressure", "speed"):
        if name not in bands:
            del values[name]
    channels = card.recordings.channels
    units: dict[str, str] = {name: channels[name].unit for name in TRIED if name in channels}
    return slips_found(values, units, bands, tolerance=TOLERANCE, least=GROSS)


def _bands(levels: pl.DataFrame) -> dict[str, tuple[float, float]]:
    """The schedule's lowest and highest pressure (Pa; where every stop has one) and speed (rad/s), with slack."""
    found = {}
    for name, column, size in (("pressure", "wanted_bar", 1e5), ("speed", "wanted_rpm", np.pi / 30)):
        wanted = levels[column].to_numpy().astype(float) * size
        if wanted.size and np.isfinite(wanted).all() and wanted.min() > 0:
            found[name] = (float(wanted.min() / SLACK), float(wanted.max() * SLACK))
    return found
