"""Stops compared like with like: cells of alike temperature, pressure and speed.

    value = cell + key

by least squares: levels of the keys (specimens, tests) are differences within cells only, whatever the mix of
conditions each key ran, and no shape of mu over the conditions is assumed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.constants import Array

TEMPERATURE_K, LOG_PRESSURE, LOG_SPEED = 15.0, 0.10, 0.06  # half-widths of a cell


@dataclass(frozen=True)
class Levels:
    """One level per key at the average of the cells; `matched` is false where no cells link all keys."""

    keys: tuple[str, ...]
    values: Array
    variances: Array
    counts: tuple[int, ...]
    matched: bool


def cells(table: pl.DataFrame) -> NDArray[np.int64]:
    """Cell number of each stop, the first stop of a cell its centre.

    table: temperature_initial_c, pressure_bar (> 0), speed_start_rpm (> 0).
    """
    conditions = np.column_stack(
        [
            table["temperature_initial_c"].to_numpy() / TEMPERATURE_K,
            np.log(table["pressure_bar"].to_numpy()) / LOG_PRESSURE,
            np.log(np.maximum(table["speed_start_rpm"].to_numpy(), 1e-3)) / LOG_SPEED,
        ]
    )
    cell = np.full(len(table), -1, dtype=np.int64)
    order = np.lexsort(conditions.T[::-1])
    number = 0
    for index in order:  # a loop over cells in effect: each pass takes all stops of one
        if cell[index] < 0:
            free = (cell < 0) & (np.abs(conditions - conditions[index]).max(axis=1) <= 1)
            cell[free] = number
            number += 1
    return cell


def levels(table: pl.DataFrame, value: str) -> Levels:
    """Level of each `key` of the table from the column `value`, cells taken out."""
    keys = tuple(sorted(set(table["key"].to_list())))
    y = table[value].to_numpy().astype(float)
    cell = cells(table)
    x_key = (table["key"].to_numpy()[:, None] == np.array(keys)[None, :]).astype(float)
    x_cell = (cell[:, None] == np.arange(cell.max() + 1)[None, :]).astype(float)
    x = np.hstack([x_key, (x_cell - x_cell.mean(axis=0))[:, 1:]])
    matched = bool(np.linalg.matrix_rank(x) == x.shape[1])
    if not matched:
        x = x_key
    beta = np.linalg.lstsq(x, y, rcond=None)[0]
    free = len(y) - x.shape[1]
    scatter = float(((y - x @ beta) ** 2).sum()) / free if free > 0 else 0.0
    counts = x_key.sum(axis=0)
    return Levels(keys, beta[: len(keys)], scatter / counts, tuple(int(c) for c in counts), matched)
