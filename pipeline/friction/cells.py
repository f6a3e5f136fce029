"""Cells of a map: stops at one set of conditions, whatever their block or specimen.

A run is an unbroken row of stops of one block and test at conditions that do not jump; runs whose middles lie as near to each
other as set-points scatter are one cell. Cross-validation leaves whole cells out, and repeated stops of a cell tell its pure
scatter.
"""

from __future__ import annotations

import numpy as np
import polars as pl

JUMP = np.array([20.0, 0.1, 0.05, 0.1])  # K, ln p, ln w, ln e: a change of conditions, not a set-point's scatter
ALIKE = np.array([12.0, 0.06, 0.03, 0.06])  # middles of two runs of one cell
FEWEST_CELLS, FEWEST_REPEATS = 5, 8


def cells_of(used: pl.DataFrame, temperature: np.ndarray, logs: np.ndarray) -> np.ndarray:
    """Cell of each stop, 0, 1 ...; stops sorted by test and stop, temperature (n,) in K, logs (n, 3) of pressure, speed
    and energy density over the reference's."""
    at = np.column_stack([temperature, logs[:, :3]])
    runs = runs_of(used, at)
    cell = np.zeros(runs.size, int)
    middles: list[np.ndarray] = []
    for run in range(int(runs.max()) + 1):
        own = runs == run
        middle = np.median(at[own], axis=0)
        near = np.abs(np.array(middles).reshape(-1, 4) - middle) / ALIKE
        alike = np.flatnonzero((near <= 1).all(axis=1))
        if alike.size:
            cell[own] = alike[near[alike].max(axis=1).argmin()]
        else:
            cell[own] = len(middles)
            middles.append(middle)
    return cell


def runs_of(used: pl.DataFrame, at: np.ndarray) -> np.ndarray:
    """Run of each stop: no jump from the stop before, nor from the run's first stop."""
    names = used["block"].fill_null("").to_list() if "block" in used.columns else [""] * len(used)
    tests = used["test"].to_list() if "test" in used.columns else [""] * len(used)
    run, first = np.zeros(len(used), int), at[0]
    for i in range(1, len(used)):
        same = names[i] == names[i - 1] and tests[i] == tests[i - 1]
        jumped = (np.abs(at[i] - at[i - 1]) > JUMP).any() or (np.abs(at[i] - first) > JUMP).any()
        run[i] = run[i - 1] + int(jumped or not same)
        if run[i] != run[i - 1]:
            first = at[i]
    return run


def repeated(cell: np.ndarray) -> bool:
    """Whether the cells have repeats enough to part what a map misses from the scatter of stops."""
    count = np.unique(cell).size
    return count >= FEWEST_CELLS and cell.size - count >= FEWEST_REPEATS
