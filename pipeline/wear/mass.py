"""Mass loss per interval, beside the thickness loss."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl

from pipeline.wear.intervals import Intervals, cells
from pipeline.wear.noise import noise


def mass_rows(readings: pl.DataFrame, measured: Intervals, assumed_mass: float) -> list[dict[str, Any]]:
    """wear_g, wear_u_g and the readings' state of each interval; null where the mass was not read at both its ends.

    Dry readings where both ends have them, else those of unsaid state, else as found.
    """
    mass = readings.filter(pl.col("quantity") == "mass")
    rows: list[dict[str, Any]] = [{"wear_g": None, "wear_u_g": None, "mass_state": None} for _ in measured.wear]
    for state, said in (
        (pl.col("state") == "as_found", "as_found"),
        (pl.col("state").is_null(), None),
        (pl.col("state") == "dry", "dry"),
    ):
        some = mass.filter(state)
        if some["after_stop"].n_unique() < 2:
            continue
        stops, _, mean, count = cells(some)
        sigma = noise(some, mean, assumed_mass)
        for row, first, last in zip(rows, measured.from_stop, measured.to_stop, strict=True):
            if first not in stops or last not in stops:
                continue
            a, b = stops.index(first), stops.index(last)
            shared = ~np.isnan(mean[a]) & ~np.isnan(mean[b])
            if not shared.any():
                continue
            loss = float((mean[a, shared] - mean[b, shared]).mean())
            variance = sigma.of_means(count[[a, b]][:, shared]).sum() / shared.sum() ** 2 + 2 * sigma.shared
            row |= {"wear_g": loss * 1e3, "wear_u_g": float(np.sqrt(variance)) * 1e3, "mass_state": said}
    return rows
