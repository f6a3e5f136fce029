"""A look at each recording before anything is reduced: is it in units in which brakings, zeros and windows can be
found?

A recording in a grossly other unit than the rest (a factor of four and more) spoils what the whole test shares: its
thresholds, zeros and drag. Such recordings are set apart, with the reason, and the others reduced without them. Where
the time of a whole test is in another unit nothing can be reduced: windows, filters and lags are all lengths of time.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.conditioning.looks import Look
from pipeline.stops.faults.unit_witness import Found, slips_found
from pipeline.stops.reduction import Setup

GROSS = 4.0
TRIED: tuple[str, ...] = ("pressure", "speed", "torque", "time")
HELD_SPEED = 0.9  # of the start: above it the work tells nothing
TOLERANCE = {"pressure": 0.3, "speed": 0.3, "torque": 0.3, "balance": 0.3, "drive": 0.3, "duration": 0.3, "mu": 0.3}
MU = (0.015, 2.5)  # wider than any brake material: what lies outside is no friction
PERIOD = (2e-5, 1.2)  # s: no rig samples a braking faster or slower
SLACK = 1.5  # of the schedule's lowest and highest level


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
    return slips_found(values, card.recordings.units_of(TRIED), bands, tolerance=TOLERANCE, least=GROSS)


def _bands(levels: pl.DataFrame) -> dict[str, tuple[float, float]]:
    """The schedule's lowest and highest pressure (Pa; where every stop has one) and speed (rad/s), with slack."""
    found = {}
    for name, column, size in (("pressure", "wanted_bar", 1e5), ("speed", "wanted_rpm", np.pi / 30)):
        wanted = levels[column].to_numpy().astype(float) * size
        if wanted.size and np.isfinite(wanted).all() and wanted.min() > 0:
            found[name] = (float(wanted.min() / SLACK), float(wanted.max() * SLACK))
    return found
