"""Mass loss per interval, beside the thickness loss."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.wear.intervals import Intervals, cells
from pipeline.wear.noise import noise


class MassLoss(NamedTuple):
    """Loss of mass in an interval with its standard uncertainty (g), and the state in which the parts were weighed."""

    wear_g: float | None = None
    wear_u_g: float | None = None
    mass_state: str | None = None


def mass_rows(readings: pl.DataFrame, measured: Intervals, assumed_mass: float) -> list[MassLoss]:
    """The loss of mass of each interval; None where the mass was not read at both its ends.

    Dry readings where both ends have them, else those of unsaid state, else as found.
    """
    mass = readings.filter(pl.col("quantity") == "mass")
    rows = [MassLoss() for _ in measured.wear]
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
        for k, (first, last) in enumerate(zip(measured.from_stop, measured.to_stop, strict=True)):
            if first not in stops or last not in stops:
                continue
            a, b = stops.index(first), stops.index(last)
            shared = ~np.isnan(mean[a]) & ~np.isnan(mean[b])
            if not shared.any():
                continue
            loss = float((mean[a, shared] - mean[b, shared]).mean())
            variance = sigma.of_means(count[[a, b]][:, shared]).sum() / shared.sum() ** 2 + 2 * sigma.shared
            rows[k] = MassLoss(loss * 1e3, float(np.sqrt(variance)) * 1e3, said)
    return rows
