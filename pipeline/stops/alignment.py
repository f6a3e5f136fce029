"""Measured stops laid beside the schedule.

The schedule says which stops were wanted, the recordings which were run. The two are aligned as sequences
by dynamic programming (Needleman & Wunsch 1970: match, or skip in one of the two), so that an extra,
missing, repeated or aborted stop shifts nothing after it. The cost of a match is how far measured
conditions lie from the wanted ones, each difference through a bounded, rounded-off function: one wrong
sensor costs the same everywhere and decides nothing. A whole channel in the wrong unit is met by a scale
per channel and test, taken from the medians of the two sequences and refined on the matches; the scales are
returned, as they are themselves evidence.

Skips are dear enough that a test whose count agrees keeps its order unless several stops in a row say
otherwise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl

from pipeline.stops.alignment_costs import missing_cost, number_gaps, scales_of
from pipeline.stops.alignment_path import path

UNIT_STEP = 0.18  # |ln scale| below this is a rig that missed its level, not a wrong unit

SCHEDULE_SCHEMA: dict[str, Any] = {
    "schedule_row": pl.Int64,
    "block": pl.String,
    "purpose": pl.String,
    "kind": pl.String,
    "control": pl.String,
    "speed_start": pl.Float64,
    "speed_end": pl.Float64,
    "pressure": pl.Float64,
    "torque": pl.Float64,
    "temperature_initial": pl.Float64,
    "duration": pl.Float64,
}


@dataclass(frozen=True)
class Alignment:
    """What `aligned` found.

    stops: one row per measured stop, in the order given.
        `schedule_row` (int; null unless the stop stands for that row), `block`, `purpose`, `kind` (of the row
        it belongs to; for an extra stop null, null and the measured kind), `state` (matched | aborted |
        repeat | extra), `run_number`.
    missing: one row per row of the schedule without a stop: the schedule's columns, and
        `after` (measured stops before it), `counted` (true: taken as run, its recording lost; false: not run,
        the block was cut short), `run_number` (null where not counted), `why`.
    scales: measured over wanted per channel (speed, pressure, torque: median of the matches; temperature and
        temperature_zero: factor and offset, K, of the wrong unit that the values read as); absent where nothing
        compares.
    """

    stops: pl.DataFrame
    missing: pl.DataFrame
    scales: dict[str, float] = field(default_factory=dict)


def schedule(blocks: Sequence[Any]) -> pl.DataFrame:
    """The expanded list of wanted stops, SCHEDULE_SCHEMA, one row per stop in the order planned; SI.

    A block with `interval` (fade) knows the initial temperature of its first stop only.
    """
    rows: list[tuple[Any, ...]] = []
    for block in blocks:
        for number in range(block.stops):
            known = block.interval is None or number == 0
            temperature = block.initial_temperature if known else None
            rows.append(
                (
                    len(rows),
                    block.name,
                    block.purpose,
                    block.kind,
                    block.control,
                    block.speed_start,
                    block.speed_end,
                    block.pressure,
                    block.torque,
                    temperature,
                    block.duration,
                )
            )
    return pl.DataFrame(rows, schema=SCHEDULE_SCHEMA, orient="row")


def aligned(stops: pl.DataFrame, wanted: pl.DataFrame) -> Alignment:
    """Align measured stops to the schedule.

    stops: `kind`, `speed_start`, `speed_end` (rad/s), `pressure` (Pa, plateau), `torque` (N m, plateau),
    `temperature_initial` (K), `duration` (s), nulls allowed (a row of nulls is a recording that cannot be
    read); optional `number` (int, the file's own running number), which decides where a recording is
    missing. wanted: as from `schedule`.
    """
    if stops.height == 0 or wanted.height == 0:
        return _labelled(stops, wanted, [], {})
    measured = {name: _column(stops, name) for name in (*_NUMERIC, "number")}
    measured["kind"] = stops.get_column("kind").to_numpy() if "kind" in stops.columns else np.full(stops.height, None)
    target = {name: _column(wanted, name) for name in _NUMERIC}
    target["kind"] = wanted["kind"].to_numpy()
    target["by_torque"] = (wanted["control"] == "torque").to_numpy()
    gaps = number_gaps(measured["number"])
    cost_of_missing = missing_cost(gaps, _column(stops, "idle_before"), wanted.height - stops.height)
    first = scales_of(measured, target, None)
    guess = {name: s for name, s in first.items() if name.startswith("temperature") or abs(np.log(s)) > UNIT_STEP}
    best = min((path(measured, target, cost_of_missing, s) for s in ([{}, guess] if guess else [{}])), key=_cost)
    # The matches give better scales than the quantiles do, and these settle rows that the first guess
    # misplaced.
    best = min(best, path(measured, target, cost_of_missing, scales_of(measured, target, best[1])), key=_cost)
    return _labelled(stops, wanted, best[1], scales_of(measured, target, best[1]), gaps)


def _cost(found: tuple[float, list[tuple[str, int, int]]]) -> float:
    return found[0]


_NUMERIC = ("speed_start", "speed_end", "pressure", "torque", "temperature_initial", "duration")


def _column(frame: pl.DataFrame, name: str) -> np.ndarray:
    if name not in frame.columns:
        return np.full(frame.height, np.nan)
    return frame.get_column(name).cast(pl.Float64).fill_null(np.nan).to_numpy().astype(float)


def _labelled(
    stops: pl.DataFrame,
    wanted: pl.DataFrame,
    moves: list[tuple[str, int, int]],
    scales: dict[str, float],
    gaps: np.ndarray | None = None,
) -> Alignment:
    """Tables from moves."""
    rows = {i: (kind, j) for kind, i, j in moves if kind != "missing"}
    lost = [(i, j) for kind, i, j in moves if kind == "missing"]
    counted = _counted(lost, wanted, gaps, stops.height)
    before = np.zeros(stops.height + 1, dtype=int)
    for (i, _), (yes, _) in zip(lost, counted, strict=True):
        before[i] += yes
    earlier = np.cumsum(before)[: stops.height]
    states = [rows.get(i, ("extra", -1)) for i in range(stops.height)]
    belongs = [j if kind != "extra" else None for kind, j in states]
    stands = [j if kind in ("matched", "aborted") else None for kind, j in states]
    labels = pl.DataFrame({"at": belongs}, schema={"at": pl.Int64}).join(
        wanted.select("schedule_row", "block", "purpose", "kind"),
        left_on="at",
        right_on="schedule_row",
        how="left",
        maintain_order="left",
    )
    measured_kind = stops.get_column("kind").cast(pl.String) if "kind" in stops.columns else pl.lit(None, pl.String)
    table = labels.select(
        pl.Series("schedule_row", stands, dtype=pl.Int64),
        "block",
        "purpose",
        pl.coalesce("kind", measured_kind).alias("kind"),
        pl.Series("state", [{"attempt": "aborted"}.get(kind, kind) for kind, _ in states], dtype=pl.String),
        pl.Series("run_number", np.arange(1, stops.height + 1) + earlier, dtype=pl.Int64),
    )
    return Alignment(table, _missing_table(wanted, lost, counted), scales)


def _missing_table(wanted: pl.DataFrame, lost: list[tuple[int, int]], counted: list[tuple[bool, str]]) -> pl.DataFrame:
    """Rows of the schedule without a stop, numbered among the stops as run where counted."""
    numbers, so_far = [], 0
    for (i, _), (yes, _) in zip(lost, counted, strict=True):
        so_far += yes
        numbers.append(i + so_far if yes else None)
    return wanted[[j for _, j in lost]].with_columns(
        pl.Series("after", [i for i, _ in lost], dtype=pl.Int64),
        pl.Series("counted", [yes for yes, _ in counted], dtype=pl.Boolean),
        pl.Series("run_number", numbers, dtype=pl.Int64),
        pl.Series("why", [why for _, why in counted], dtype=pl.String),
    )


def _counted(
    lost: list[tuple[int, int]], wanted: pl.DataFrame, gaps: np.ndarray | None, measured: int
) -> list[tuple[bool, str]]:
    """Whether each missing stop was run and its recording lost, or never run.

    The files' own numbering settles it where it has a gap. Else a single missing stop is a lost recording,
    and a run of two or more up to a block's end is a block cut short: a rig is stopped early more often
    than it loses files in a row. So are two or more after the last measured stop, whatever their blocks: the
    program was broken off, or is still running.
    """
    broken_off = sum(i == measured for i, _ in lost) >= 2
    block = wanted["block"].to_list()
    answers: list[tuple[bool, str]] = []
    numbered = dict(enumerate(gaps)) if gaps is not None else {}
    runs: dict[tuple[int, str], list[int]] = {}
    for i, j in lost:
        runs.setdefault((i, block[j]), []).append(j)
    done: dict[tuple[int, str], int] = {}
    for position, (i, j) in enumerate(lost):
        run, before = runs[i, block[j]], done.get((i, block[j]), 0)
        done[i, block[j]] = before + 1
        if numbered.get(i, 0) > 0:
            numbered[i] -= 1
            answers.append((True, "the numbering of the files leaves one out here"))
            continue
        rest = len(run) - before
        ends = j + rest - 1 == run[-1] and (run[-1] + 1 == len(block) or block[run[-1] + 1] != block[j])
        earlier_cut = (
            bool(answers) and not answers[-1][0] and lost[position - 1] == (i, j - 1) and block[j - 1] == block[j]
        )
        if earlier_cut or (ends and rest >= 2) or (broken_off and i == measured):
            answers.append((False, f"block {block[j]!r} ends early"))
        else:
            answers.append((True, "no recording lies between its neighbours"))
    return answers
