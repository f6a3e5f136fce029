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
KEPT = ("stop", "file", "block", "purpose", "start_s", "temperature_initial_c", "mu", "mu_u", "energy_kj", "status")
CLASSES_C = (0.0, 100.0, 150.0, 250.0, 400.0, 600.0)  # edges of the temperature classes shown


def matched(test: str, a: pl.DataFrame, b: pl.DataFrame) -> pl.DataFrame:
    """delta.parquet's rows of one test, with purpose, temperature and both numbers behind docs/contract.md's
    columns.
    """
    left, right = (_ordered(stops) for stops in (a, b))
    place = _places(left, right)
    left = left.with_columns(place=pl.Series(place[0])).rename({name: f"{name}_a" for name in KEPT})
    right = right.with_columns(place=pl.Series(place[1])).rename({name: f"{name}_b" for name in KEPT})
    shared = ("stop", "block", "purpose", "temperature_initial_c", "mu_u")
    frame = left.join(right, on="place", how="full", coalesce=True).with_columns(
        *(pl.coalesce(f"{name}_a", f"{name}_b").alias(name) for name in shared),
        test=pl.lit(test),
        mu_difference=pl.col("mu_b") - pl.col("mu_a"),
    )
    kept = [column.name for column in DELTA]
    further = ["purpose", "temperature_initial_c", "mu_u", "stop_a", "stop_b"]
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
    edges = [float("-inf"), *CLASSES_C[1:], float("inf")]
    for low, high in pairwise(edges):
        part = both.filter(pl.col("temperature_initial_c") >= low, pl.col("temperature_initial_c") < high)
        if len(part):
            rows.append(
                TemperatureClass(
                    low_c=None if low == edges[0] else low,
                    high_c=None if high == edges[-1] else high,
                    stops=len(part),
                    **fields(quantiles(part)),
                )
            )
    return rows


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


def largest(delta: pl.DataFrame, count: int = 10) -> list[MovedStop]:
    """The stops that moved most."""
    both = delta.filter(pl.col("mu_difference").is_not_null(), pl.col("mu_difference") != 0)
    top = both.sort(pl.col("mu_difference").abs(), descending=True).head(count)
    rows = top.select("test", "stop", "block", "mu_a", "mu_b", "mu_difference", "temperature_initial_c")
    return [MovedStop(**row) for row in rows.to_dicts()]


def status_changes(delta: pl.DataFrame) -> list[StatusChange]:
    """Stops whose status is not the same, or that only one method has."""
    differing = delta.filter(pl.col("status_a").ne_missing(pl.col("status_b")))
    return [StatusChange(**row) for row in differing.select("test", "stop", "block", "status_a", "status_b").to_dicts()]
