"""Soaks of the specimens at a temperature without a stop (`dwells` of a card), as the wear laws take them.

A dwell is a row of the exposure that has no work: seconds at one temperature, after the stops that had been run. Readings before and
after it (column `after_dwell` of wear.csv) make an interval of it alone, in which nothing but oxidation can take anything away; the
laws get it like any other, and its rate at a temperature is read there directly, with no model of a face's temperature between.

Counts of stops stay whole numbers; a dwell, and a reading after it, stand between two of them: after stop 40 and its first
dwell is 40.001.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from pipeline.archive.card import Card, Dwell
from pipeline.findings import Finding, finding

STEP = 0.001


def positions(dwells: Sequence[Dwell]) -> list[float]:
    """Where each dwell stands among the stops."""
    seen: dict[int, int] = {}
    out = []
    for one in dwells:
        seen[one.after_stop] = seen.get(one.after_stop, 0) + 1
        out.append(one.after_stop + STEP * seen[one.after_stop])
    return out


def placed(readings: pl.DataFrame, card: Card) -> tuple[pl.DataFrame, list[Finding]]:
    """The readings with `after_stop` counted on behind the dwells that were over, and findings of those that cannot be placed.

    A reading without `after_dwell` was taken before the dwells at its own stop.
    """
    if "after_dwell" not in readings.columns:
        readings = readings.with_columns(after_dwell=pl.lit(None, pl.Int64))
    told = readings.filter(pl.col("after_dwell") > 0)
    if not card.dwells:
        if told.is_empty():
            return readings, []
        lines = ", ".join(str(line) for line in told["line"].head(5))
        message = f"after_dwell is given (line {lines}), but the card states no dwells: these readings are left out"
        left = readings.filter(pl.col("after_dwell").is_null() | (pl.col("after_dwell") == 0))
        return left, [
            finding("wear_reading_impossible", message, file=card.wear, evidence={"after_dwell": "no dwells"})
        ]
    at = np.array([one.after_stop for one in card.dwells])
    rows, findings = [], []
    for after, dwell, line in readings.select("after_stop", "after_dwell", "line").rows():
        before, here = int((at < after).sum()), int((at == after).sum())
        own = before if dwell is None else dwell
        if before <= own <= before + here:
            rows.append(after + STEP * (own - before))
            continue
        rows.append(float("nan"))
        message = (
            f"line {line}: a reading after stop {after} and {own} dwells cannot be: {before} dwells are over by stop {after}, "
            f"{here} more follow there; the reading is left out"
        )
        findings.append(
            finding(
                "wear_reading_impossible", message, file=card.wear, evidence={"after_stop": after, "after_dwell": own}
            )
        )
    return readings.with_columns(after_stop=pl.Series(rows, dtype=pl.Float64)).filter(
        pl.col("after_stop").is_finite()
    ), findings
