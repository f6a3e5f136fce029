"""A stop unlike those run alike beside it: another specimen's recording, or a pressure that was not there.

Within a block, wanted conditions are the same: ln mu of a stop less the median of up to four neighbours in its block scatters
by what the material and the rig do (about 2 %, common practice). A stop that lies out by a tenth and by six robust standard
deviations is unlike; of two stops alone in a block both are told, as nothing says which of the two. The first stop of a block
after a pause may be moist and is left out; so are bedding and fade, where friction is wanted to move.

A single stop's pressure that leaves the schedule by more than the rig's own scatter, while its mu leaves its neighbours' by
the same share the other way, was not there: the torque says so.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl

from pipeline.findings import Finding, finding

UNLIKE = 0.10
SIGMAS = 6.0
MU_SIGMAS = 2.5  # beside a pressure that is off by six
LEAST_OFF = 0.03  # of the pressure's level
REACH = 2
PAUSE_S = 1800.0
PURPOSES = ("check", "map", "duty", "drag", "recovery")
FEWEST = 12


def deviations(stops: pl.DataFrame) -> pl.DataFrame:
    """stop, file, block, alike (stops in its block), off (ln mu less its neighbours'), level (ln pressure over wanted).

    Rows only of stops with neighbours; `level` null where no pressure is wanted.
    """
    rows: list[tuple[Any, ...]] = []
    used = stops.filter((pl.col("mu") > 0) & pl.col("purpose").is_in(PURPOSES) & pl.col("block").is_not_null())
    for block in used.partition_by("block", maintain_order=True):
        y = block["mu"].log().to_numpy()
        level = (block["pressure_plateau_bar"] / block["target_pressure_bar"]).log().to_list()
        for i, (stop, file, name, idle) in enumerate(
            block.select("stop", "file", "block", "idle_before_s").iter_rows()
        ):
            near = [j for j in range(max(0, i - REACH), min(y.size, i + REACH + 1)) if j != i]
            if not near or (i == 0 and (idle or 0.0) > PAUSE_S):
                continue
            rows.append((stop, file, name, y.size, float(y[i] - np.median(y[near])), level[i]))
    schema = {"stop": pl.Int64, "file": pl.String, "block": pl.String, "alike": pl.Int64, "off": pl.Float64, "level": pl.Float64}  # fmt: skip
    return pl.DataFrame(rows, schema=schema, orient="row")


def unlike_stops(stops: pl.DataFrame) -> list[Finding]:
    """Findings of stops whose mu is unlike their neighbours', or whose pressure their torque contradicts."""
    rows = deviations(stops)
    if rows.height < FEWEST:
        return []
    off = rows["off"].to_numpy()
    sigma = _sigma(off)
    level = rows["level"].cast(pl.Float64).fill_null(np.nan).to_numpy()
    level = level - np.nanmedian(level) if np.isfinite(level).any() else level
    known = level[np.isfinite(level)]
    limit = max(LEAST_OFF, SIGMAS * _sigma(known)) if known.size else np.inf
    with np.errstate(invalid="ignore"):
        # Torque is where it was: mu has gone by as much as the pressure, the other way.
        contradicted = (np.abs(level) > limit) & (np.abs(off) > MU_SIGMAS * sigma) & (np.abs(off + level) < 0.5 * np.abs(level))  # fmt: skip
    unlike = (np.abs(off) > max(UNLIKE, SIGMAS * sigma)) & ~contradicted
    if unlike.sum() > max(3, rows.height // 10):
        return []  # a material or a rig that scatters so: no single stops
    found = [_pressure(row, float(level[i])) for i, row in _each(rows, contradicted)]
    for i, row in _each(rows, unlike):
        text = (
            f"stop {row['stop']}: mu is {100 * np.expm1(off[i]):+.0f} % off the {'other stop' if row['alike'] == 2 else 'stops beside it'} "
            f"of block {row['block']}, whose stops scatter by {100 * sigma:.1f} %"
        )
        evidence = {"off": float(np.expm1(off[i])), "scatter": sigma, "alike": row["alike"]}
        found.append(finding("stop_unlike", text, stop=row["stop"], file=row["file"], evidence=evidence))
    return found


def _each(rows: pl.DataFrame, where: np.ndarray) -> list[tuple[int, dict[str, Any]]]:
    return [(int(i), rows.row(int(i), named=True)) for i in np.flatnonzero(where)]


def _sigma(values: np.ndarray) -> float:
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def _pressure(row: dict[str, Any], level: float) -> Finding:
    share = 100 * float(np.expm1(level))
    text = f"stop {row['stop']}: pressure is {share:+.1f} % off the schedule's and the torque does not follow: it was not there"
    return finding("pressure_off_schedule", text, stop=row["stop"], file=row["file"], channel="pressure", evidence={"ratio_to_test": float(np.exp(level))})  # fmt: skip
