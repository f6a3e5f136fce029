"""Cells of a map: stops run at equal conditions, over all tests."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.constants import Array

APART = np.array([20.0, 0.1, 0.05, 0.1])  # K, ln p, ln w, ln e: another condition, not a set-point's scatter


def cells_of(stops: pl.DataFrame) -> np.ndarray:
    """Number of each stop's cell from 0: conditions within APART of the first stop of the cell."""
    place = conditions(stops) / APART
    found: list[Array] = []
    out = np.empty(len(stops), int)
    for i in np.lexsort(place.T[::-1]):
        at = next((k for k, first in enumerate(found) if (np.abs(place[i] - first) <= 1.0).all()), None)
        if at is None:
            at = len(found)
            found.append(place[i])
        out[i] = at
    return out


def conditions(stops: pl.DataFrame) -> Array:
    """Initial temperature (degC), ln pressure, ln speed at the start, ln energy density, [stops, 4]; what is missing 0."""
    logs = [pl.col(c).cast(pl.Float64).log() for c in ("pressure_bar", "speed_start_rpm", "energy_density_j_mm2")]
    table = stops.select(pl.col("temperature_initial_c").cast(pl.Float64), *logs)
    return np.nan_to_num(table.fill_null(0.0).to_numpy(), posinf=0.0, neginf=0.0)
