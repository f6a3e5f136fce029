"""Stops of two methods side by side.

Stops are matched by recording and brake start, not by number: another segmentation may number a series
anew. A stop that only one method has keeps its row with the other side null.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import polars as pl

from pipeline.results.delta import BlockChange, Change, MovedStop, Overview, StatusChange, TemperatureClass
from pipeline.results.model import fields
from pipeline.vocabulary import DELTA, conform

SAME_START_S = 2.0
KEPT = (
    "stop", "file", "block", "purpose", "start_s", "temperature_initial_c", "mu", "mu_u", "energy_kj", "energy_density_j_mm2", "status",
)  # fmt: skip
EDGES_C = (100.0, 150.0, 250.0, 400.0, 600.0)  # of the temperature classes shown
CLASSES: tuple[tuple[float | None, float | None], ...] = tuple(pairwise((None, *EDGES_C, None)))
LEAST_SHARE, LEAST_GAP = 0.1, 0.05  # of the stops on either side of an edge of energy; of the energies, relative


def matched(test: str, a: pl.DataFrame, b: pl.DataFrame) -> pl.DataFrame:
    """delta.parquet's rows of one test, with purpose, temperature, energy density and both numbers behind
    docs/contract.md's columns.
    """
    left, right = (_ordered(stops) for stops in (a, b))
    place = _places(left, right)
    left = left.with_columns(place=pl.Series(place[0])).rename({name: f"{name}_a" for name in KEPT})
    right = right.with_columns(place=pl.Series(place[1])).rename({name: f"{name}_b" for name in KEPT})
    shared = ("stop", "block", "purpose", "temperature_initial_c", "energy_density_j_mm2", "mu_u")
    frame = left.join(right, on="place", how="full", coalesce=True).with_columns(
        *(pl.coalesce(f"{name}_a", f"{name}_b").alias(name) for name in shared),
        test=pl.lit(test),
        mu_difference=pl.col("mu_b") - pl.col("mu_a"),
    )
    kept = [column.name for column in DELTA]
    further = ["purpose", "temperature_initial_c", "energy_density_j_mm2", "mu_u", "stop_a", "stop_b"]
    return conform(frame.sort("stop", "place").select(*kept, *further), DELTA)


def _ordered(stops: pl.DataFrame) -> pl.DataFrame:
    return stops.select(KEPT).sort("stop")


def _places(left: pl.DataFrame, right: pl.DataFrame) -> tuple[list[int], list[int]]:
    """A common number for stops that are the same brake application, another for each that only one side
    has.
    """
    sides = (left, right)
    rows: list[dict[str | None, list[int]]] = [{}, {}]
    for side, by_file in zip(sides, rows, strict=True):
        for index, file in enumerate(side["file"].to_list()):
            by_file.setdefault(file, []).append(index)
    places = ([-1] * len(left), [-1] * len(right))
    count = 0
    for file in dict.fromkeys([*rows[0], *rows[1]]):
        own = rows[0].get(file, []), rows[1].get(file, [])
        for i, j in _pairs(left, right, *own):
            places[0][i] = places[1][j] = count
            count += 1
    for own_places in places:
        for index, value in enumerate(own_places):
            if value < 0:
                own_places[index] = count
                count += 1
    return places


def _pairs(left: pl.DataFrame, right: pl.DataFrame, i: list[int], j: list[int]) -> list[tuple[int, int]]:
    """Pairs of rows of one recording: in order where both sides found as many stops, else by nearest brake
    start.
    """
    if len(i) == len(j):
        return list(zip(i, j, strict=True))
    starts = [side["start_s"][rows].fill_null(np.nan).to_numpy() for side, rows in ((left, i), (right, j))]
    apart = np.abs(starts[0][:, None] - starts[1][None, :])
    found = []
    while apart.size and np.nanmin(apart, initial=np.inf) <= SAME_START_S:
        k, m = np.unravel_index(np.nanargmin(apart), apart.shape)
        found.append((i[k], j[m]))
        apart[k, :] = apart[:, m] = np.inf
    return found


def overview(delta: pl.DataFrame) -> Overview:
    """Counts and quantiles of the change over all stops."""
    both = delta.filter(pl.col("mu_difference").is_not_null())
    status = delta.filter(pl.col("status_a") != pl.col("status_b"))
    energy = delta.filter(pl.col("energy_kj_a").is_not_null(), pl.col("energy_kj_b").is_not_null())
    moved = (energy["energy_kj_b"] - energy["energy_kj_a"]).abs() > 1e-9 * energy["energy_kj_a"].abs()
    return Overview(
        stops=len(delta),
        with_mu_in_both=len(both),
        only_a=delta["stop_b"].null_count(),
        only_b=delta["stop_a"].null_count(),
        mu_unchanged=int((both["mu_difference"] == 0).sum()),
        energy_unchanged=int((~moved).sum()),
        energy_changed=int(moved.sum()),
        status_changed=len(status),
        change=quantiles(both),
    )


def quantiles(both: pl.DataFrame) -> Change:
    """Median, 5th and 95th percentile and largest of the change of mu, absolute and relative; None without stops."""
    if not len(both):
        return Change()
    d = both["mu_difference"].to_numpy()
    r = d / both["mu_a"].to_numpy()
    p05, median, p95 = np.quantile(d, [0.05, 0.5, 0.95])
    r05, r50, r95 = np.quantile(r[np.isfinite(r)], [0.05, 0.5, 0.95]) if np.isfinite(r).any() else (None,) * 3
    return Change(
        median=median,
        p05=p05,
        p95=p95,
        largest=d[np.argmax(np.abs(d))],
        relative_median=r50,
        relative_p05=r05,
        relative_p95=r95,
    )


def by_class(delta: pl.DataFrame) -> list[TemperatureClass]:
    """The change of mu by class of initial temperature: a method change often moves only the cold stops."""
    both = delta.filter(pl.col("mu_difference").is_not_null(), pl.col("temperature_initial_c").is_not_null())
    rows = []
    for low, high in CLASSES:
        part = within(both, "temperature_initial_c", low, high)
        if len(part):
            rows.append(TemperatureClass(low_c=low, high_c=high, stops=len(part), **fields(quantiles(part))))
    return rows


def within(stops: pl.DataFrame, column: str, low: float | None, high: float | None) -> pl.DataFrame:
    """Stops from `low` to below `high` of a column; None bounds nothing."""
    bounds = [pl.col(column) >= low] if low is not None else []
    bounds += [pl.col(column) < high] if high is not None else []
    return stops.filter(*bounds)


def energy_edges(delta: pl.DataFrame) -> list[float]:
    """Energy densities (J/mm2) that part the stops into three: the widest relative gaps that leave a tenth of them on either side.

    A program runs at a few energies; an edge between two of them says more than one at a round number. Fewer edges where the stops' energies
    leave no such gap.
    """
    if "energy_density_j_mm2" not in delta.columns:
        return []
    values = np.sort(delta["energy_density_j_mm2"].drop_nulls().to_numpy())
    values = values[values > 0]
    least = max(int(np.ceil(LEAST_SHARE * values.size)), 1)
    gaps = np.diff(np.log(values)) if values.size > 1 else np.array([])
    places = [int(i) for i in np.argsort(-gaps) if gaps[i] >= LEAST_GAP and least <= i + 1 <= values.size - least]
    chosen: list[int] = []
    for place in places:
        if len(chosen) < 2 and all(abs(place - other) >= least for other in chosen):
            chosen.append(place)
    return [round_between(values[i], values[i + 1]) for i in sorted(chosen)]


def round_between(low: float, high: float) -> float:
    """The number of fewest digits above `low` and not above `high`, the nearest to their middle."""
    middle = float(np.sqrt(low * high))
    for digits in range(1, 12):
        value = float(f"{middle:.{digits}g}")
        if low < value <= high:
            return value
    return float(high)


def by_block(delta: pl.DataFrame) -> list[BlockChange]:
    """The change of mu by test and block, in order."""
    both = delta.filter(pl.col("mu_difference").is_not_null())
    return [
        BlockChange.model_validate(
            {
                "test": test,
                "block": block,
                "purpose": part["purpose"][0],
                "stops": len(part),
                "mu_a": part["mu_a"].mean(),
                "mu_b": part["mu_b"].mean(),
                **fields(quantiles(part)),
            }
        )
        for (test, block), part in both.group_by("test", "block", maintain_order=True)
    ]


MOVED = (
    "test", "stop", "block", "mu_a", "mu_b", "mu_difference", "temperature_initial_c", "purpose", "stop_a", "stop_b",
)  # fmt: skip


def largest(delta: pl.DataFrame, count: int = 10) -> list[MovedStop]:
    """The stops that moved most."""
    both = delta.filter(pl.col("mu_difference").is_not_null(), pl.col("mu_difference") != 0)
    top = both.sort(pl.col("mu_difference").abs(), descending=True).head(count)
    rows = top.select(*MOVED)
    return [MovedStop(**row) for row in rows.to_dicts()]


def examples(delta: pl.DataFrame) -> list[MovedStop]:
    """Of each purpose of block the stop that moved most, the largest move first: what one kind of stop does hides no other."""
    both = delta.filter(pl.col("mu_difference").is_not_null(), pl.col("mu_difference") != 0)
    ordered = both.sort(pl.col("mu_difference").abs(), descending=True)
    rows = ordered.unique("purpose", keep="first", maintain_order=True).select(*MOVED)
    return [MovedStop(**row) for row in rows.to_dicts()]


def status_changes(delta: pl.DataFrame) -> list[StatusChange]:
    """Stops whose status is not the same, or that only one method has."""
    differing = delta.filter(pl.col("status_a").ne_missing(pl.col("status_b")))
    rows = differing.select("test", "stop", "block", "status_a", "status_b", "stop_a", "stop_b")
    return [StatusChange(**row) for row in rows.to_dicts()]
