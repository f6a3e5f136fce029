"""Values along lines: mu at each pressure, others equal, and at each speed, others equal, from the stops themselves.

Stops of map and check blocks are put together by the set of conditions that they were run at. A line is every such set within
a few per cent (15 K) of one of them in all but the pressure (or the start speed); where no speed was run at one energy density,
the energy may differ along the line of speeds, and it says so. No map enters: what the levels' unlike temperatures may be worth is
told beside the line. The interval of a level holds the scatter of its stops, that between blocks run at one set of
conditions where the test shows it, that between specimens over several tests, and the common part.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np
import polars as pl

from pipeline.constants import Array
from pipeline.friction import block_scatter
from pipeline.friction.block_scatter import Scatter, Variance
from pipeline.friction.blocks import conditions_of, steady_stops
from pipeline.friction.cells import ALIKE, cells_of, runs_of
from pipeline.results.friction_blocks import Level, Line
from pipeline.results.friction_map import CurvePoint
from pipeline.stops.cells import LOG_PRESSURE, LOG_SPEED, TEMPERATURE_K

LOG_ENERGY = 0.10
HELD = np.array([TEMPERATURE_K, LOG_PRESSURE, LOG_SPEED, LOG_ENERGY])
PLACE: dict[Literal["pressure", "speed"], int] = {"pressure": 1, "speed": 2}
Along = Literal["pressure", "speed"]


class Cell(NamedTuple):
    """Stops at one set of conditions: their place (K, ln Pa, ln rad/s, ln J/m2) and mu by run."""

    at: Array
    stops: pl.DataFrame
    groups: list[Array]


def lines(
    stops: pl.DataFrame,
    temperature: str,
    scatter: Scatter,
    *,
    common: float | None,
    confidence: float,
    use_suspect: bool,
    curve: Sequence[CurvePoint] = (),
    specimen: Variance | None = None,
) -> tuple[list[Line], dict[str, str]]:
    """Every line of the stops, and why there is none along a condition. `specimen` is the relative variance between specimens,
    where the stops (with `test`) are of several."""
    cells = _cells(steady_stops(stops, use_suspect), temperature)
    found: list[Line] = []
    why: dict[str, str] = {}
    for along in PLACE:
        sets, energy_moves = _sets(cells, along), False
        if not sets and along == "speed":
            sets, energy_moves = _sets(cells, along, free=3), True
        for chosen in sets:
            levels = [_level(cell, temperature, scatter, common, confidence, specimen) for cell in chosen]
            found.append(
                Line(
                    along=along, energy_moves=energy_moves, levels=levels, by_temperature=_by_temperature(levels, curve)
                )
            )
        if not sets:
            why[along] = _why(cells, along)
    return found, why


def _cells(used: pl.DataFrame, temperature: str) -> list[Cell]:
    if used.is_empty():
        return []
    at, mu = conditions_of(used, temperature), used["mu"].to_numpy()
    run, cell = runs_of(used, at), cells_of(used, at[:, 0], at[:, 1:])
    return [
        Cell(np.median(at[own], axis=0), used.filter(own), [mu[run == k] for k in dict.fromkeys(run[own].tolist())])
        for own in (cell == c for c in range(int(cell.max()) + 1))
    ]


def _sets(cells: list[Cell], along: Along, free: int | None = None) -> list[list[Cell]]:
    """Sets of cells that differ along one condition alone, the one with most levels first; `free` may differ beside it."""
    place = PLACE[along]
    held = np.array([k for k in range(4) if k not in (place, free)])
    at = np.array([cell.at for cell in cells]).reshape(-1, 4)
    candidates = []
    for centre in at:
        off = (np.abs(at - centre)[:, held] / HELD[held]).max(axis=1)
        near = [int(k) for k in np.argsort(off, kind="stable") if off[k] <= 1]
        chosen: list[int] = []
        for k in near:  # of two sets at one level, the one nearer to the centre
            if all(abs(at[k, place] - at[j, place]) > ALIKE[place] for j in chosen):
                chosen.append(k)
        if len(chosen) > 1:
            far = float(off[chosen].max())
            candidates.append((-len(chosen), far, sorted(chosen, key=lambda k: float(at[k, place]))))
    kept: list[list[int]] = []
    for _, _, chosen in sorted(candidates):
        if all(len(set(chosen) & set(other)) < 2 for other in kept):
            kept.append(chosen)
    kept.sort(key=lambda chosen: float(np.median([cells[k].at[0] for k in chosen])))
    return [[cells[k] for k in chosen] for chosen in kept]


def _level(
    cell: Cell, temperature: str, scatter: Scatter, common: float | None, confidence: float, specimen: Variance | None
) -> Level:
    every = np.concatenate(cell.groups)
    within = [v for v in map(block_scatter.about_mean, cell.groups) if v is not None]
    dof = sum(v.dof for v in within)
    own = Variance(sum(v.dof * v.value for v in within) / dof, dof) if dof else None
    shares = [g.size / every.size for g in cell.groups]
    further = []
    if scatter.between:
        further.append(Variance(scatter.between**2 * sum(s * s for s in shares), scatter.between_dof))
    if specimen is not None and "test" in cell.stops.columns:
        tests = cell.stops["test"].value_counts()["count"].to_numpy() / every.size
        further.append(Variance(specimen.value * float((tests**2).sum()), specimen.dof))
    share = sum(s**2 * block_scatter.of_mean(g.size, scatter.alike) for s, g in zip(shares, cell.groups, strict=True))
    means = cell.stops.select(
        p=pl.col("pressure_bar").mean(), w=pl.col("speed_start_rpm").mean(), t=pl.col(f"temperature_{temperature}_c").mean(),
        e=pl.col("energy_density_j_mm2").mean(),
    ).row(0, named=True)  # fmt: skip
    single = block_scatter.drawn(own, scatter.usual)
    return Level(
        pressure_bar=means["p"],
        speed_rpm=means["w"],
        temperature_c=means["t"],
        energy_density_j_mm2=means["e"],
        blocks=cell.stops["block"].unique(maintain_order=True).to_list(),
        stops=every.size,
        mu=block_scatter.interval(float(every.mean()), single, share, common, confidence, further),
    )


def _by_temperature(levels: list[Level], curve: Sequence[CurvePoint]) -> float | None:
    """Range of the curve over the levels' temperatures; None where it does not reach them."""
    at = [level.temperature_c for level in levels if level.temperature_c is not None]
    if len(at) < len(levels) or not curve or min(at) < curve[0].temperature_c or max(at) > curve[-1].temperature_c:
        return None
    mu = np.interp(at, [p.temperature_c for p in curve], [p.mu for p in curve])
    return float(np.ptp(mu))


def _why(cells: list[Cell], along: Along) -> str:
    if not cells:
        return "no map or check block has a stop that can be used"
    others = {"pressure": "temperature, speed and energy density", "speed": "temperature and pressure"}[along]
    place = PLACE[along]
    values = np.array([cell.at[place] for cell in cells])
    if np.ptp(values) <= ALIKE[place]:
        return f"one {along} was run"
    return f"no two sets of conditions differ in {along} alone: at no {others} was more than one {along} run"
