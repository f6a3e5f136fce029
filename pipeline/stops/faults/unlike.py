"""A stop unlike those run alike beside it: another specimen's recording, or a pressure that was not there.

Within a block, wanted conditions are the same: ln mu of a stop less the median of up to four neighbours in its block
scatters by what the material and the rig do (about 2 %, common practice). A stop that lies out by a tenth and by six
robust standard deviations is unlike; of two stops alone in a block both are told, as nothing says which of the two.
The first stop of a block after a pause may be moist and is left out; so are bedding and fade, where friction is
wanted to move.

A single stop's pressure that leaves the schedule by more than the rig's own scatter, while its mu leaves its
neighbours' by the same share the other way, was not there: the torque says so. One whose pressure alone is off the
schedule's level by another factor than the test's other stops was in another range or unit: the energy balance is
blind to pressure.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl

from pipeline.conditioning.medians import median
from pipeline.constants import MAD_TO_SD
from pipeline.findings import Finding, finding

UNLIKE = 0.10
SIGMAS = 6.0
MU_SIGMAS = 2.5  # beside a pressure that is off by six
LEAST_OFF = 0.03  # of the pressure's level
REACH = 2
PAUSE_S = 1800.0
PURPOSES = ("check", "map", "duty", "drag", "recovery")
LEAST_STOPS = 12
LEAST_LEVELS = 5
LEVEL_OFF = (
    0.13  # |ln| of the level over the test's own; a rig that holds its levels misses by a few percent (common practice)
)
LEVEL_SIGMAS = 6.0
STILL_RISING = 0.4  # of the braking's duration


def deviations(stops: pl.DataFrame) -> pl.DataFrame:
    """stop, file, block, alike (stops in its block), off (ln mu less its neighbours'), level (ln pressure over wanted).

    Rows only of stops with neighbours; `level` null where no pressure is wanted.
    """
    rows: list[tuple[Any, ...]] = []
    used = stops.filter((pl.col("mu") > 0) & pl.col("purpose").is_in(PURPOSES) & pl.col("block").is_not_null())
    level = (pl.col("pressure_plateau_bar") / pl.col("target_pressure_bar")).log()
    used = used.select("stop", "file", "block", "idle_before_s", level=level, y=pl.col("mu").log())
    for block in used.partition_by("block", maintain_order=True):
        y = block["y"].to_numpy()
        for i, (stop, file, name, idle, off, _) in enumerate(block.iter_rows()):
            near = [j for j in range(max(0, i - REACH), min(y.size, i + REACH + 1)) if j != i]
            if not near or (i == 0 and (idle or 0.0) > PAUSE_S):
                continue
            rows.append((stop, file, name, y.size, float(y[i] - median(y[near])), off))
    schema = {
        "stop": pl.Int64,
        "file": pl.String,
        "block": pl.String,
        "alike": pl.Int64,
        "off": pl.Float64,
        "level": pl.Float64,
    }
    return pl.DataFrame(rows, schema=schema, orient="row")


def unlike_stops(stops: pl.DataFrame) -> list[Finding]:
    """Findings of stops whose mu is unlike their neighbours', or whose pressure their torque contradicts."""
    rows = deviations(stops)
    if rows.height < LEAST_LEVELS:
        return []
    off = rows["off"].to_numpy()
    sigma = _sigma(off)
    level = rows["level"].cast(pl.Float64).fill_null(np.nan).to_numpy()
    level = level - np.nanmedian(level) if np.isfinite(level).any() else level
    known = level[np.isfinite(level)]
    limit = max(LEAST_OFF, SIGMAS * _sigma(known)) if known.size else np.inf
    with np.errstate(invalid="ignore"):
        # Torque is where it was: mu has gone by as much as the pressure, the other way.
        contradicted = (
            (np.abs(level) > limit) & (np.abs(off) > MU_SIGMAS * sigma) & (np.abs(off + level) < 0.5 * np.abs(level))
        )
    unlike = (np.abs(off) > max(UNLIKE, SIGMAS * sigma)) & ~contradicted
    if unlike.sum() > max(3, rows.height // 10):
        return []  # a material or a rig that scatters so: no single stops
    found = [_pressure(row, float(level[i])) for i, row in _each(rows, contradicted)]
    for i, row in _each(rows, unlike):
        text = (
            f"stop {row['stop']}: mu is {100 * np.expm1(off[i]):+.0f} % off the "
            f"{'other stop' if row['alike'] == 2 else 'stops beside it'} "
            f"of block {row['block']}, whose stops scatter by {100 * sigma:.1f} %"
        )
        evidence = {"off": float(np.expm1(off[i])), "scatter": sigma, "alike": row["alike"]}
        found.append(finding("stop_unlike", text, stop=row["stop"], file=row["file"], evidence=evidence))
    return found


def _each(rows: pl.DataFrame, where: np.ndarray) -> list[tuple[int, dict[str, Any]]]:
    return [(int(i), rows.row(int(i), named=True)) for i in np.flatnonzero(where)]


def _sigma(values: np.ndarray) -> float:
    return MAD_TO_SD * float(np.median(np.abs(values - np.median(values))))


def _pressure(row: dict[str, Any], level: float) -> Finding:
    share = 100 * float(np.expm1(level))
    text = (
        f"stop {row['stop']}: pressure is {share:+.1f} % off the schedule's and the torque does not follow: it was "
        "not there"
    )
    return finding(
        "pressure_off_schedule",
        text,
        stop=row["stop"],
        file=row["file"],
        channel="pressure",
        evidence={"ratio_to_test": float(np.exp(level))},
    )


def lone_levels(stops: pl.DataFrame, schedule: pl.DataFrame) -> list[Finding]:
    """Stops whose pressure is off the schedule's by another factor than the test's other stops.

    stops: the stops table; schedule: row, wanted_bar (null where the rig does not hold the pressure).
    """
    joined = stops.join(schedule, left_on="schedule_row", right_on="row", how="left").sort("stop")
    rows = joined.filter((pl.col("pressure_plateau_bar") > 0) & (pl.col("wanted_bar") > 0))
    if rows.height < LEAST_LEVELS:
        return []
    off = (rows["pressure_plateau_bar"] / rows["wanted_bar"]).log().to_numpy()
    apart = off - np.median(off)
    sigma = MAD_TO_SD * float(np.median(np.abs(apart)))
    # A slow build-up that lasts into the braking's middle has no level yet to hold against the schedule's.
    rising = ((rows["window_start_s"] / rows["duration_s"]).fill_null(0.0) > STILL_RISING).to_numpy()
    odd = np.flatnonzero((np.abs(apart) > max(LEVEL_OFF, LEVEL_SIGMAS * sigma)) & ~rising)
    if odd.size > rows.height // 4:
        return []  # no lone stops: the schedule, or a step that is told elsewhere
    return [
        finding(
            "pressure_off_schedule",
            f"stop {row['stop']}: pressure {row['pressure_plateau_bar']:.4g} bar where the schedule has "
            f"{row['wanted_bar']:.4g} bar; the sensor's range or unit, or another level on the rig",
            stop=row["stop"],
            file=row["file"],
            channel="pressure",
            evidence={
                "measured_bar": row["pressure_plateau_bar"],
                "wanted_bar": row["wanted_bar"],
                "ratio_to_test": float(np.exp(apart[i])),
            },
        )
        for i, row in zip(odd.tolist(), rows[odd].iter_rows(named=True), strict=True)
    ]
