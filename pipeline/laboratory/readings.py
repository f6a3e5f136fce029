"""One value a test and quantity, on a logarithmic scale, with the blocks and stops behind it.

mu: checks before any duty or fade, as the rigs' shifts are read; bite: the coldest conditions that all tests of the
compound have, before duty and fade too; both by

    ln value = cell + block + stop

with cells of alike temperature, pressure and speed, so that blocks compare within cells only. Wear: logarithm of the
disc's loss per stop, of tests whose program is like most of the compound's. What use does to a surface is not scatter
of the laboratory: stops after duty, fade or the onset of a drift are left out.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.batches.specimens import HISTORY, coldest_common
from pipeline.constants import Array, normal_reach
from pipeline.results.model import confidence_of
from pipeline.results.precision import Quantity
from pipeline.results.summary import TestSummary
from pipeline.results.wear import TestWear
from pipeline.stops.cells import cells

ENERGY_APART = 0.10  # programs whose energy per stop is within this of the median are alike in wear
BITE = ("temperature_initial_c", "pressure_bar", "speed_start_rpm", "mu_bite")
CONDITIONS: dict[Quantity, str] = {
    "mu": "check stops before any duty or fade, like with like in temperature, pressure and speed",
    "bite": "stops in the coldest conditions that all tests have, before any duty or fade",
    "wear": "wear of the disc per stop after bedding, of tests of like energy per stop",
}


@dataclass(frozen=True)
class LabTest:
    """A usable test as the laboratory's statistics see it; `state` names the rig between two of its events."""

    test: str
    compound: str
    batch: str
    specimen: str
    date: datetime.date
    rig: str
    state: str
    stops: pl.DataFrame
    summary: TestSummary
    wear: TestWear
    changed_at: int | None = None  # first stop of a drift that changes the specimen or the sensor


@dataclass(frozen=True)
class Reading:
    """A test's value. blocks: logarithms of the stops of each block, cells taken out; variance: of the value itself,
    where it does not come from blocks.
    """

    test: LabTest
    value: float
    blocks: tuple[Array, ...] = ()
    variance: float | None = None

    @property
    def stops(self) -> int:
        return sum(map(len, self.blocks))


@dataclass(frozen=True)
class Readings:
    """The readings of a quantity of one compound, in the order of the tests, and what was left out."""

    quantity: Quantity
    compound: str
    found: tuple[Reading, ...]
    left_out: tuple[str, ...] = field(default=())


def changed_at(verdict: str | None, onset: int | None) -> int | None:
    """First stop after which a specimen no longer shows the material as made; None without such a drift."""
    return onset if verdict in HISTORY else None


def readings(tests: Sequence[LabTest], quantity: Quantity) -> Readings:
    """The quantity of every test of one compound that has it."""
    compound = tests[0].compound if tests else ""
    if quantity == "wear":
        return _wear(tests, compound)
    column = "mu" if quantity == "mu" else "mu_bite"
    table = _friction_stops(tests) if quantity == "mu" else _cold_stops(tests)
    missing = sorted({t.test for t in tests} - set(table["test"].to_list() if len(table) else []))
    left_out = [f"{name}: no stop in these conditions" for name in missing]
    if not len(table):
        return Readings(quantity, compound, (), tuple(left_out))
    y = np.log(table[column].to_numpy().astype(float))
    blocks = _numbered(list(zip(table["test"], table["block"], strict=True)))
    cell = cells(table)
    effect, linked = cell_effects(y, blocks, cell)
    clean = y - effect[cell]
    found = []
    names = np.array(table["test"].to_list())
    for test in tests:
        own = (names == test.test) & linked
        if own.any():
            parts = tuple(clean[own & (blocks == b)] for b in np.unique(blocks[own]))
            found.append(Reading(test, float(np.mean([p.mean() for p in parts])), parts))
        elif test.test not in missing:
            left_out.append(f"{test.test}: no conditions in common with the other tests")
    return Readings(quantity, compound, tuple(found), tuple(left_out))


def _numbered(labels: Sequence[object]) -> NDArray[np.int64]:
    place = {label: i for i, label in enumerate(dict.fromkeys(labels))}
    return np.array([place[label] for label in labels], dtype=np.int64)


def cell_effects(y: Array, block: NDArray[np.int64], cell: NDArray[np.int64]) -> tuple[Array, NDArray[np.bool_]]:
    """Least-squares effect of each cell beside free levels of the blocks, and which values hang together.

    y (n,), block and cell (n,) numbered from 0. Blocks are eliminated, so that the size of the problem is the number of
    cells. Values that no chain of common cells links with most of the others are marked False.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    shape = (int(cell.max()) + 1, int(block.max()) + 1)
    together = coo_array((np.ones(len(y)), (cell, block)), shape=shape).tocsr()
    both = coo_array((np.ones(len(y)), (cell, block + shape[0])), shape=(sum(shape), sum(shape)))
    of = connected_components(both, directed=False)[1]
    linked = np.asarray(of[cell] == np.bincount(of[cell]).argmax())
    per_cell, per_block = np.bincount(cell).astype(float), np.bincount(block).astype(float)
    share = together.multiply(1 / per_block[None, :]).tocsr()
    matrix = np.diag(per_cell) - (share @ together.T).toarray()
    right = np.bincount(cell, y) - share @ np.bincount(block, y)
    effect = np.linalg.pinv(matrix, hermitian=True) @ right
    weight = np.bincount(cell[linked], minlength=shape[0])
    return effect - np.average(effect, weights=weight), linked


def _before_use(test: LabTest) -> pl.DataFrame:
    """Stops of status ok before any duty, fade or drift."""
    used = test.stops.filter(pl.col("purpose").is_in(["duty", "fade"]))["stop"]
    ends = [int(stop) for stop in (used.min(), test.changed_at) if isinstance(stop, int)]
    sound = test.stops.filter(pl.col("status") == "ok")
    return sound.filter(pl.col("stop") < min(ends)) if ends else sound


def _friction_stops(tests: Sequence[LabTest]) -> pl.DataFrame:
    needed = ("mu", *BITE[:3])
    parts = []
    for test in tests:
        early = _before_use(test).filter(*(pl.col(c) > 0 for c in needed))
        checks = early.filter(pl.col("purpose") == "check")
        chosen = checks if len(checks) >= 2 else early.filter(pl.col("purpose").is_in(["map", "check"]))
        parts.append(_named(chosen, test, needed))
    return pl.concat(parts) if parts else pl.DataFrame()


def _cold_stops(tests: Sequence[LabTest]) -> pl.DataFrame:
    parts = []
    for test in tests:
        stops = _before_use(test).filter(
            pl.col("purpose").is_in(["map", "check"]),
            *(pl.col(name).is_finite() for name in BITE),
            *(pl.col(name) > 0 for name in BITE[1:]),
        )
        parts.append(_named(stops, test, BITE))
    table = pl.concat(parts) if parts else pl.DataFrame()
    if not len(table):
        return table
    return coldest_common(table.with_columns(pl.col("test").alias("key"))).drop("key")


def _named(stops: pl.DataFrame, test: LabTest, columns: Sequence[str]) -> pl.DataFrame:
    block = pl.col("block").fill_null("no block")
    return stops.select(*columns, block, pl.lit(test.test).alias("test"), pl.lit(test.batch).alias("batch"))


def _wear(tests: Sequence[LabTest], compound: str) -> Readings:
    rates, left_out = {}, []
    for test in tests:
        disc = (test.wear.components or {}).get("disc")
        rate = disc.rates.um_per_stop if disc and disc.rates else None
        if rate is None or rate.value is None or not rate.value > 0:
            left_out.append(f"{test.test}: no wear rate of the disc above zero")
            continue
        low, high = rate.low, rate.high
        half = 0.0
        if low is not None and high is not None:
            half = math.log(high / low) / 2 if low > 0 else (high - low) / 2 / rate.value
        reach = normal_reach(confidence_of(test.wear.stamp, "wear"))
        rates[test.test] = (math.log(rate.value), (half / reach) ** 2)
    energy = {t.test: energy_per_stop(t) for t in tests if t.test in rates}
    known = [e for e in energy.values() if math.isfinite(e)]
    usual = float(np.median(known)) if known else math.nan
    found = []
    for test in tests:
        if test.test not in rates:
            continue
        if math.isfinite(energy[test.test]) and abs(energy[test.test] / usual - 1) > ENERGY_APART:
            left_out.append(
                f"{test.test}: {energy[test.test]:.0f} kJ per stop, most of the compound's tests {usual:.0f}: another program"
            )
            continue
        value, variance = rates[test.test]
        found.append(Reading(test, value, variance=variance))
    return Readings("wear", compound, tuple(found), tuple(left_out))


def energy_per_stop(test: LabTest) -> float:
    """Mean friction work of the stops after bedding, kJ; NaN without any."""
    energy = test.stops.filter(pl.col("purpose") != "bedding")["energy_kj"].drop_nulls()
    return float(np.mean(energy.to_numpy())) if len(energy) else math.nan
