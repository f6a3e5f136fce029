"""A planned program on paper: its stops with their conditions, what of it each quantity is read from, its rig hours.

Energies, times and temperatures are those of `pipeline.wear.planned_stops` (the card's blocks run on paper). Hours are
the archive's own: a stop of a planned block takes what the stops of the most alike block took, from the end of one
braking to the end of the next: the median, pauses left out, so that nights and weekends do not count.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.archive.block import Block
from pipeline.archive.card import Card
from pipeline.constants import RAD_PER_S, ZERO_C, Array
from pipeline.errors import InputError
from pipeline.method.wear import Wear
from pipeline.planning.components import Quantity
from pipeline.vocabulary import STOPS, conform
from pipeline.wear.planned_stops import Assumed, braking, planned_stops

COLD_K = 20.0  # a map or check stop this near to the archive's bite conditions is read for bite
ALIKE = 1.0  # distance of blocks (below) beyond which the time of one says little of another's
NEAR = 0.25  # blocks so much further off than the nearest one tell its time too


@dataclass(frozen=True)
class Paper:
    """Stops run on paper, arrays [n]: friction work J, brake time s, clamp force over distance N m, start degC."""

    energy: Array
    duration: Array
    path: Array
    temperature_c: Array


def on_paper(card: Card, assumed: Assumed, settings: Wear) -> Paper:
    """The card's stops on paper; where the card lacks what the disc's heat needs, a stop starts at its block's wanted
    temperature, or at that of the block before. Raises InputError for a block that states nothing to brake with."""
    rows = [braking(block, card, assumed) for block in card.blocks for _ in range(block.stops)]
    energy, duration, path = np.array(rows, float).T
    try:
        return Paper(energy, duration, path, planned_stops(card, assumed, settings).temperature_c)
    except InputError:
        wanted = [b.initial_temperature for b in card.blocks]
        known = [t - ZERO_C for t in wanted if t is not None] or [100.0]
        starts, now = [], known[0]
        for block, t in zip(card.blocks, wanted, strict=True):
            now = now if t is None else t - ZERO_C
            starts += [now] * block.stops
        return Paper(energy, duration, path, np.array(starts))


def table(card: Card, assumed: Assumed, settings: Wear, curve: Sequence[tuple[float, float]] = ()) -> pl.DataFrame:
    """The card's stops as planned, in the columns of a stops table; nothing scatters. mu is `assumed.mu`, or where a
    curve is given (degC, mu) the curve's at the stop's temperature, and times and powers are as that mu makes them.
    """
    run = on_paper(card, assumed, settings)
    blocks = [block for block in card.blocks for _ in range(block.stops)]
    area, n = card.brake.friction_area, len(blocks)
    mu = np.full(n, assumed.mu)
    if curve:
        mu = np.interp(run.temperature_c, *np.array(curve, float).T)
    faster = np.where([b.control == "pressure" and b.kind != "drag" for b in blocks], mu / assumed.mu, 1.0)
    duration = run.duration / faster
    bar = [_pressure(block, card, assumed) for block in blocks]
    frame = pl.DataFrame(
        {
            "stop": np.arange(1, n + 1),
            "block": [b.name for b in blocks],
            "purpose": [b.purpose for b in blocks],
            "kind": [b.kind for b in blocks],
            "control": [b.control for b in blocks],
            "duration_s": duration,
            "speed_start_rpm": [b.speed_start / RAD_PER_S for b in blocks],
            "speed_end_rpm": [b.speed_end / RAD_PER_S for b in blocks],
            "pressure_bar": bar,
            "pressure_plateau_bar": bar,
            "target_pressure_bar": [None if b.pressure is None else b.pressure / 1e5 for b in blocks],
            "target_temperature_c": [
                None if b.initial_temperature is None else b.initial_temperature - ZERO_C for b in blocks
            ],
            "mu": mu,
            "mu_bite": mu,
            **{f"temperature_{kind}_c": run.temperature_c for kind in ("initial", "mean", "peak", "end")},
            "energy_kj": run.energy / 1e3,
            "energy_ratio": np.ones(n),
            "energy_density_j_mm2": run.energy / area / 1e6,
            "power_density_w_mm2": run.energy / duration / area / 1e6,
            "pressure_rest_bar": np.zeros(n),
            "status": ["ok"] * n,
        },
        strict=False,
    )
    return conform(frame.with_columns(findings=pl.lit([], dtype=pl.List(pl.String))), STOPS)


def _pressure(block: Block, card: Card, assumed: Assumed) -> float:
    """Line pressure of a block, bar: the stated one, else what its torque needs at the assumed friction."""
    if block.pressure is not None:
        return block.pressure / 1e5
    brake = card.brake
    ring = brake.friction_ring
    radius = brake.effective_radius or ((ring.outer_diameter + ring.inner_diameter) / 4 if ring else 0.1)
    torque = block.torque or card.inertia * (block.deceleration or 0.0) / (card.rolling_radius or 0.33)
    return (torque / (2 * assumed.mu * radius) / brake.efficiency / brake.piston_area + brake.threshold_pressure) / 1e5


def blocks_read(stops: pl.DataFrame, quantity: Quantity, bite_at: tuple[float, float, float] | None) -> tuple[int, ...]:
    """Sizes of the blocks whose stops a specimen's value is read from: checks (map stops without any) for mu, the cold
    map and check stops for bite; for wear (1,): one pair of readings.

    bite_at: temperature (degC), pressure (bar) and start speed (rpm) at which the archive's batches compare bite.
    """
    if quantity == "wear":
        return (1,)
    if quantity == "mu":
        checks = stops.filter(pl.col("purpose") == "check")
        return _sizes(checks if len(checks) else stops.filter(pl.col("purpose") == "map"))
    if bite_at is None:
        return ()
    near = (pl.col("temperature_initial_c") - bite_at[0]).abs() <= COLD_K
    for name, at in (("pressure_bar", bite_at[1]), ("speed_start_rpm", bite_at[2])):
        near &= (pl.col(name) / at).log().abs() <= 0.1
    return _sizes(stops.filter(pl.col("purpose").is_in(["map", "check"]) & near))


def _sizes(stops: pl.DataFrame) -> tuple[int, ...]:
    return tuple(stops.group_by("block", maintain_order=True).len()["len"].to_list())


@dataclass(frozen=True)
class Hours:
    """Rig hours of one specimen's program: None where no stop of the archive tells any; `unlike` blocks took their time
    from one that is not alike; `pauses`: stated pauses in them."""

    hours: float | None
    pauses: float = 0.0
    unlike: tuple[str, ...] = ()
    why: str | None = None


def hours(card: Card, archive: Sequence[pl.DataFrame], longest: float) -> Hours:
    """Rig hours of the card's blocks by the archive's own times per stop (tables of stops); waits longer than `longest`
    (s) are pauses and no part of a stop."""
    known = _times(archive, longest)
    if not known:
        return Hours(None, why="no recording of the archive has a clock that runs on from stop to stop")
    total, unlike = 0.0, []
    for block in card.blocks:
        own = _place(block)
        apart = np.array([_apart(own, place) for place, _ in known])
        near = [took for (_, took), far in zip(known, apart, strict=True) if far <= apart.min() + NEAR]
        unlike += [block.name] if apart.min() > ALIKE else []
        total += block.stops * (float(np.median(np.concatenate(near))) if block.interval is None else block.interval)
    pauses = sum(block.pause_before or 0.0 for block in card.blocks)
    return Hours((total + pauses) / 3600, pauses / 3600, tuple(unlike))


Place = tuple[str, float, float, float, float]  # kind, ln pressure, start speed, end speed (rpm / 500), K / 60


def _times(archive: Sequence[pl.DataFrame], longest: float) -> list[tuple[Place, Array]]:
    """(where a block of the archive ran, time that each of its stops took, s)"""
    found = []
    for stops in archive:
        timed = stops.with_columns(took=pl.col("idle_before_s") + pl.col("duration_s")).filter(
            pl.col("took").is_finite() & (pl.col("idle_before_s") <= longest) & (pl.col("pressure_bar") > 0),
            pl.col("temperature_initial_c").is_finite(),
        )
        for block in timed.partition_by("block", maintain_order=True):
            middle = [float(block[name].median() or 0.0) for name in CONDITIONS]  # type: ignore[arg-type]
            found.append((_at(block["kind"][0], *middle), block["took"].to_numpy()))
    return found


CONDITIONS = ("pressure_bar", "speed_start_rpm", "speed_end_rpm", "temperature_initial_c")


def _at(kind: str, bar: float, start: float, end: float, celsius: float) -> Place:
    return kind, math.log(max(bar, 1e-3)) / 0.5, start / 500, (end or 0.0) / 500, celsius / 60


def _place(block: Block) -> Place:
    bar = (block.pressure or 25e5) / 1e5
    start = block.initial_temperature - ZERO_C if block.initial_temperature is not None else 200.0
    return _at(block.kind, bar, block.speed_start / RAD_PER_S, block.speed_end / RAD_PER_S, start)


def _apart(a: Place, b: Place) -> float:
    return float(np.linalg.norm(np.subtract(a[1:], b[1:]))) + (a[0] != b[0])
