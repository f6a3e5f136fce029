"""Readings of one quantity of one part, session by session: means over repeats, points beside each other."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.wear.intervals import cells
from pipeline.wear.noise import noise
from pipeline.wear.readings import outlying


class Sessions(NamedTuple):
    """One part's readings of one quantity: after_stop [R], points, means and which of them are out [R, P], level [R]
    and its u; sigma: standard uncertainty of one mean of one point."""

    stops: list[int]
    points: list[str]
    means: np.ndarray
    out: np.ndarray
    level: np.ndarray
    u: np.ndarray
    sigma: float


def sessions(readings: pl.DataFrame, name: str, quantity: str, assumed: float) -> Sessions | None:
    """The part's sessions, SI; None with fewer than three. Mass only where it was read dry: moisture has a finding of
    its own.
    """
    own = readings.filter((pl.col("component") == name) & (pl.col("quantity") == quantity))
    if quantity == "mass":
        own = own.filter(pl.col("state") == "dry")
    if own["after_stop"].n_unique() < 3:
        return None
    stops, points, mean, count = cells(own)
    sigma = noise(own, mean, assumed)
    least = 30e-6 if quantity == "thickness" else 0.5e-3
    out = outlying(mean, min(sigma.value, 4 * assumed), least=least)
    shared = ~(np.isnan(mean) | out).any(axis=0)
    if not shared.any():
        return None
    level = mean[:, shared].mean(axis=1)
    u = sigma.value * np.sqrt((1 / np.maximum(count[:, shared], 1)).sum(axis=1)) / shared.sum()
    return Sessions(stops, points, mean, out, level, u, sigma.value / float(np.sqrt(np.median(count[count > 0]))))
