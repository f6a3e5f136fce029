"""How long a stop takes on a rig: from the end of one braking to the end of the next, cooling included.

    hours per stop = (idle time before + duration) / 3600

from clocks that run through from recording to recording; where each recording begins anew at zero nothing tells it. The
median is given, as nights and repairs stretch single pauses; a test's whole time has them in it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import polars as pl

from pipeline.laboratory.readings import LabTest
from pipeline.results.precision import Pace

NO_CLOCK = "no recording's clock runs through from stop to stop"
LEAST = 5  # stops from which a median is given


def paces(tests: Sequence[LabTest]) -> list[Pace]:
    """Of each rig: over all its stops, by compound, and by compound and purpose."""
    found = []
    for rig in sorted({t.rig for t in tests}):
        own = [t for t in tests if t.rig == rig]
        table = _table(own)
        found.append(_pace(rig, None, None, table))
        for compound in sorted({t.compound for t in own}):
            part = table.filter(pl.col("compound") == compound)
            found.append(_pace(rig, compound, None, part))
            for purpose in part["purpose"].drop_nulls().unique().sort():
                found.append(_pace(rig, compound, purpose, part.filter(pl.col("purpose") == purpose)))
    return found


def _table(tests: Sequence[LabTest]) -> pl.DataFrame:
    columns = ("idle_before_s", "duration_s")
    parts = [
        t.stops.select("purpose", *(pl.col(c).cast(pl.Float64) for c in columns)).with_columns(
            pl.lit(t.compound).alias("compound"), pl.lit(t.test).alias("test")
        )
        for t in tests
    ]
    table = pl.concat(parts)
    hours = (pl.col("idle_before_s") + pl.col("duration_s")) / 3600
    return table.with_columns(hours.alias("hours")).filter(pl.col("hours").is_finite() & (pl.col("hours") > 0))


def _pace(rig: str, compound: str | None, purpose: str | None, table: pl.DataFrame) -> Pace:
    head = {"rig": rig, "compound": compound, "purpose": purpose, "stops": len(table)}
    if len(table) < LEAST:
        return Pace(**head, why=NO_CLOCK if not len(table) else f"fewer than {LEAST} stops with a time")
    low, middle, high = np.quantile(table["hours"].to_numpy(), [0.25, 0.5, 0.75])
    whole = float(np.median(list(_of_tests(table)))) if purpose is None else None
    return Pace(**head, hours_per_stop=float(middle), low=float(low), high=float(high), hours_per_test=whole)


def _of_tests(table: pl.DataFrame) -> Iterator[float]:
    for part in table.partition_by("test"):
        yield float(part["hours"].sum())
