"""Noise of a wear reading, found from the readings where they show it and never taken for smaller.

    repeats     variance of readings of one point at one occasion, pooled (four degrees of freedom or more)
    points      what points do beside the component's common loss and a steady taper of each
    assumed     the method's value, which is said: the laws' residuals then decide, unless it asks for more

A gauge reads in steps q. Repeats that fall into one step share one rounding error, which no mean over them takes
away: of its variance q^2/12 what the repeats' own variance s^2 does not hold stays common to them, max(0, q^2/12 -
s^2), exact where they all agree. So it is with the points of one occasion when they lie within a step of each other.
The step is the last decimal that was written or, where readings keep to a coarser one (0.05 mm on a vernier), that
one, if chance would not do so in one table of a hundred. (The variance q^2/12: JCGM 100:2008, F.2.2.1.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.constants import MAD_TO_SD

ENOUGH_DOF = 4
STEPS = (50, 20, 10, 5, 2)  # coarser steps that scales are divided in, over the last decimal
BY_CHANCE = 0.01


@dataclass(frozen=True)
class Noise:
    """Standard uncertainty of one reading of one point: value in m or kg, its degrees of freedom, where it is from.

    stuck: variance of rounding common to a point's repeats; shared: of that, what all points of an occasion have in
    common.
    """

    value: float
    dof: float
    source: str
    stuck: float = 0.0
    shared: float = 0.0

    def of_means(self, count: np.ndarray) -> np.ndarray:
        """Variance of means of `count` repeats without what all points share; 0 where none was read."""
        own = self.value**2 / np.maximum(count, 1) + self.stuck - self.shared
        return np.where(count > 0, np.maximum(own, 0.0), 0.0)


def step(readings: pl.DataFrame) -> float:
    """Step in m or kg that the values keep to; see the module's text."""
    written = float(readings["resolution"].to_numpy().min())
    counts = np.unique(np.round(readings["value"].to_numpy() / written))
    for many in STEPS:
        if (counts % many == 0).all() and float(many) ** -len(counts) < BY_CHANCE:
            return many * written
    return written


def noise(readings: pl.DataFrame, mean: np.ndarray, assumed: float) -> Noise:
    """Noise of one reading of one point; see the module's text. mean [R, P]: means over the repeats of each occasion
    and point.
    """
    rounding = step(readings) ** 2 / 12
    repeat, repeat_dof = _within(readings, "after_stop", "point")
    point, point_dof = _beside_common_loss(mean)
    several = mean.shape[1] > 1 and (np.isfinite(mean).sum(axis=1) > 1).any()
    shared = max(0.0, rounding - _within(readings, "after_stop")[0]) if several else 0.0
    if repeat_dof >= ENOUGH_DOF:
        return Noise(float(np.sqrt(repeat)), repeat_dof, "repeat readings", max(0.0, rounding - repeat), shared)
    if point_dof >= ENOUGH_DOF:
        value, source, dof = point, "scatter between points", float(point_dof)
    else:
        # The method's value is of a reading's mean over its points.
        per_point = assumed**2 * float(np.median((~np.isnan(mean)).sum(axis=1)))
        value, source, dof = per_point, "assumed by the method", np.inf
    return Noise(float(np.sqrt(max(value, rounding))), dof, source, 0.0, shared)


def _within(readings: pl.DataFrame, *group: str) -> tuple[float, int]:
    """Pooled variance of the readings inside groups and its degrees of freedom."""
    spread = readings.group_by(*group, maintain_order=True).agg(
        pl.col("value").var().alias("variance"), (pl.len() - 1).alias("dof")
    )
    spread = spread.filter(pl.col("dof") > 0)
    dof = int(spread["dof"].sum() or 0)
    return (float((spread["variance"] * spread["dof"]).sum() / dof) if dof else 0.0), dof


def _beside_common_loss(mean: np.ndarray) -> tuple[float, int]:
    """Variance and degrees of freedom of point means after each point's place and its own share of the loss."""
    full = mean[:, ~np.isnan(mean).any(axis=0)]
    readings, points = full.shape
    if points < 2 or readings < 3:
        return 0.0, 0
    level = full.mean(axis=1)
    design = np.column_stack([np.ones(readings), level - level.mean()])
    coefficient, *_ = np.linalg.lstsq(design, full, rcond=None)
    rest = full - design @ coefficient
    dof = (points - 1) * (readings - 2)
    return float((rest**2).sum() / dof), dof


def usual(readings: pl.DataFrame, mean: np.ndarray) -> float:
    """Scatter of cell means [R, P] by medians, which one misread cell does not move: what an outlier is measured by."""
    if mean.shape[1] >= 3 and mean.shape[0] >= 3:
        off = mean - np.nanmedian(mean, axis=1, keepdims=True)
        off = off - np.nanmedian(off, axis=0, keepdims=True)
        return float(MAD_TO_SD * np.nanmedian(np.abs(off)))
    spread = readings.group_by("after_stop", "point").agg(pl.col("value").std(), pl.len())
    spread = spread.drop_nulls()
    if spread.height >= ENOUGH_DOF:
        return float(MAD_TO_SD * np.median(spread["value"].to_numpy()))
    if mean.shape[0] > ENOUGH_DOF:
        bent = mean[1:-1] - (mean[:-2] + mean[2:]) / 2
        return float(MAD_TO_SD * np.nanmedian(np.abs(bent)) / np.sqrt(1.5))
    return 0.0
