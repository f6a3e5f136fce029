"""Law and map asked for what was left out: whole cells, whole blocks, fade stops.

The map predicts a stop's mean from fits without the stop's cell. The law's coefficients without a cell follow in closed form
from the fit's own normal equations (variances held, as for the map), the braking is then run from its initial temperature,
pressure and speeds alone: nothing of the stop that is predicted enters, not its power either. Errors are those of a cell's
mean, as a single stop's own scatter is no law's fault; the shape's are those of each segment about its stop's mean.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.constants import RAD_PER_S, Array
from pipeline.face import braking
from pipeline.face.braking import Brake
from pipeline.face.law import Law
from pipeline.face.samples import SEGMENTS, Segmented
from pipeline.friction.comparison import left_out_errors
from pipeline.friction.map import FrictionMap


@dataclass(frozen=True)
class Errors:
    """ln(mu / prediction) of stops' means [stops], and errors of the shape in mu [stops, SEGMENTS]."""

    mean: Array
    shape: Array


def coefficients_without(law: Law, groups: np.ndarray) -> Array:
    """Coefficients [groups, columns] of fits without each group of stops."""
    lower = np.linalg.cholesky(law.scatter.covariance(law.steepness))
    inverse = np.linalg.inv(lower) * np.sqrt(law.weights)[:, None, None]
    residuals = (inverse @ law.residuals[:, :, None])[:, :, 0]
    out = np.empty((int(groups.max()) + 1, law.coefficients.size))
    for group in range(len(out)):
        gone = groups == group
        own = (inverse[gone] @ law.design[gone]).reshape(-1, law.coefficients.size)
        out[group] = law.coefficients - without(own, residuals[gone].ravel(), law.covariance, law.information)
    return out


def without(rows: Array, residuals: Array, covariance: Array, information: Array) -> Array:
    """What coefficients lose with some of their rows [m, columns] of unit scatter, whose residuals are [m].

    C X' (I - X C X')^-1 r = (C^-1 - X' X)^-1 X' r: by the smaller of the two matrices, so that many stops of one group cost
    no more than in proportion.
    """
    if len(rows) > rows.shape[1]:
        return np.asarray(np.linalg.solve(information - rows.T @ rows, rows.T @ residuals))
    hat = rows @ covariance @ rows.T
    return np.asarray(covariance @ (rows.T @ np.linalg.solve(np.eye(len(hat)) - hat, residuals)))


def law_errors(
    law: Law, brakes: dict[str, Brake], inertias: dict[str, float], groups: np.ndarray, heat: Array
) -> Errors:
    """Errors of the law at its own stops, each by the fit without its group; `heat` = (k0, share0, h0)."""
    return errors_of(
        law,
        law.segmented,
        brakes,
        inertias,
        coefficients_without(law, groups),
        groups,
        law.specimens,
        law.batches,
        heat,
    )


def errors_of(
    law: Law,
    segmented: Segmented,
    brakes: dict[str, Brake],
    inertias: dict[str, float],
    coefficients: Array,
    draw: np.ndarray,
    specimens: np.ndarray,
    batches: Array,
    heat: Array,
) -> Errors:
    """Errors at any stops of the law's specimens, by coefficients [d, columns] of which stop i uses row draw[i]."""
    at, samples = law.places, segmented.samples
    theta = np.clip(coefficients[:, at["heat"]], -3 * law.theta_u, 3 * law.theta_u)
    tables = braking.laws(law.axis, coefficients[:, at["fixed"]], *(heat * np.exp(theta)).T)
    level, shift = np.zeros(len(samples)), np.zeros(len(samples))
    if at["level"].stop > at["level"].start:
        level = coefficients[draw, at["level"].start + specimens]
        shift = coefficients[draw, at["shift"].start + specimens]
    if at["batch"].stop > at["batch"].start:
        level = level + (coefficients[draw][:, at["batch"]] * batches).sum(axis=1)
    table = samples.table
    names = table["test"].to_numpy() if "test" in table.columns else np.full(len(samples), "")
    log = np.empty((len(samples), SEGMENTS))
    first, last = (table[c].to_numpy() * RAD_PER_S for c in ("speed_start_rpm", "speed_end_rpm"))
    for name in np.unique(names):
        rows = np.flatnonzero(names == name)
        inertia = np.full(rows.size, inertias[str(name)])
        run = braking.run(
            tables, draw[rows], brakes[str(name)], initial=samples.initial[rows], pressure=table["pressure_bar"].to_numpy()[rows] * 1e5,
            first=first[rows], last=np.clip(last[rows], 0.02 * first[rows], 0.98 * first[rows]), inertia=inertia, level=level[rows], shift=shift[rows],
        )  # fmt: skip
        log[rows] = _in_segments(segmented, rows, run)
    y, d = segmented.y, segmented.share
    mean, predicted = (d * np.exp(y)).sum(axis=1), (d * np.exp(log)).sum(axis=1)
    shape = (np.exp(y) - mean[:, None]) - (np.exp(log) - predicted[:, None])
    return Errors(np.log(mean / predicted), shape)


def _in_segments(segmented: Segmented, rows: np.ndarray, run: braking.Braking) -> Array:
    """ln mu of runs at the middles of the windows' segments, by the share of the braking's energy done."""
    samples = segmented.samples
    out = np.empty((rows.size, SEGMENTS))
    work = np.cumsum(run.work, axis=1)
    work = work / work[:, -1:]
    middle = work - np.diff(work, axis=1, prepend=0.0) / 2
    for k, row in enumerate(rows):
        energy = samples.energy[row] / max(samples.energy[row, -1], 1e-9)
        inside = energy[samples.inside[row]]
        at = inside[0] + (inside[-1] - inside[0]) * (np.arange(SEGMENTS) + 0.5) / SEGMENTS
        out[k] = np.interp(at, middle[k], np.log(run.path_mu[k]))
    return out


def map_errors(map_: FrictionMap, table: pl.DataFrame, groups: np.ndarray) -> Array:
    """ln(mu / prediction) of the map at the stops of `table`, each by the fit without its group; NaN for a stop not in the map."""
    keys = [c for c in ("test", "stop") if c in table.columns and c in map_.stops.columns]
    numbered = table.select(*keys).with_columns(place=pl.int_range(pl.len()), group=pl.Series(groups))
    joined = map_.stops.select(*keys).join(numbered, on=keys, how="left", maintain_order="left")
    group = joined["group"].fill_null(-1).to_numpy()
    errors = left_out_errors(map_, group)
    out = np.full(len(table), np.nan)
    known = joined["place"].is_not_null().to_numpy()
    out[joined["place"].drop_nulls().to_numpy()] = errors[known]
    return out


def map_errors_at(map_: FrictionMap, table: pl.DataFrame) -> Array:
    """ln(mu / prediction) of the whole map at further stops; NaN where it gives no value."""
    predicted = map_.predict_stops(table)
    return np.log(table["mu"].to_numpy() / predicted.mu)


def by_group(errors: Array, mu: Array, groups: np.ndarray) -> Array:
    """Mean error in mu of each group, NaN where no stop of it has one."""
    wrong = mu * -np.expm1(-errors)
    known = np.isfinite(wrong)
    count = np.bincount(groups[known], minlength=int(groups.max()) + 1)
    total = np.bincount(groups[known], wrong[known], minlength=count.size)
    return np.divide(total, count, out=np.full(count.size, np.nan), where=count > 0)


def rms(values: Array) -> float:
    return float(np.sqrt(np.nanmean(values**2))) if np.isfinite(values).any() else float("nan")


def blocks_of(table: pl.DataFrame) -> np.ndarray:
    """Number of each stop's block by name, over all tests."""
    names = table["block"].fill_null("").to_list()
    known: dict[str, int] = {}
    return np.array([known.setdefault(name, len(known)) for name in names])
