"""Measured stops given their blocks: the alignment's input and output in the stops table's words."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipeline.archive.block import Block
from pipeline.archive.card import Card
from pipeline.conditioning.survey import Braking
from pipeline.findings import Finding, Severity, finding
from pipeline.results.summary import MissingStop
from pipeline.stops.alignment import Alignment, aligned, schedule
from pipeline.stops.alignment_costs import runs_on
from pipeline.stops.work import kinetic_energy

MANY_EXTRA = 0.1  # of the stops: more is another schedule, not a rig's repeat
FEW_EXTRA = 2


@dataclass(frozen=True)
class Entry:
    """One brake application as run: its recording and file, its braking (None where none was found), why not, and the code of
    the finding that says so."""

    recording: int
    file: str
    braking: Braking | None
    why: str | None = None
    code: str = "no_braking"


def placed(entries: Sequence[Entry], card: Card, sign: float) -> Alignment:
    """The entries aligned to the card's blocks."""
    return aligned(measured(entries, sign, numbered=card.recordings.holds == "stop"), schedule(card.blocks))


def measured(entries: Sequence[Entry], sign: float, *, numbered: bool) -> pl.DataFrame:
    """What the alignment compares, SI; a row of nulls for a recording without a braking."""
    rows: list[dict[str, Any]] = []
    numbers = file_numbers([entry.file for entry in entries]) if numbered else [None] * len(entries)
    ended: float | None = None
    for entry, number in zip(entries, numbers, strict=True):
        b = entry.braking
        row: dict[str, Any] = {"number": number, "kind": None}
        if b is not None:
            rest = b.torque_rest.value if b.torque_rest else 0.0
            row |= {
                # How a braking ended is not known from a recording that ends inside it.
                "kind": None if b.ends_inside else b.kind,
                "speed_end": None if b.ends_inside else b.speed_end,
                "duration": None if b.ends_inside else b.end_s - b.start_s,
                "speed_start": b.speed_start,
                "pressure": b.plateau,
                "torque": sign * (b.torque_plateau - rest),
                "temperature_initial": b.temperature_initial,
                # Only where the clock runs on; a restarted one says nothing of the wait.
                "idle_before": b.start_s - ended if ended is not None and b.start_s > ended else None,
            }
            ended = b.end_s
        rows.append(row)
    kinds: dict[str, Any] = {"number": pl.Int64, "kind": pl.String}
    names = ("speed_start", "speed_end", "pressure", "torque", "temperature_initial", "duration", "idle_before")
    frame = pl.DataFrame(rows, schema=kinds | dict.fromkeys(names, pl.Float64))
    return frame.with_columns(pl.col(names).fill_nan(None))


def file_numbers(files: Sequence[str]) -> list[int | None]:
    """The running number that each file's name carries; None throughout where no part of the names runs on.

    A name may hold several runs of digits (a date, a temperature, the stop's number of so many). The running number
    is the one, counted from the name's start or its end, that every name has, that never falls and mostly rises by
    one; of several, the one that leaves fewest numbers out.
    """
    digits = [[int(run) for run in re.findall(r"\d{1,9}", _stem(file), re.ASCII)] for file in files]
    shortest = min((len(runs) for runs in digits), default=0)
    found = [[runs[place] for runs in digits] for place in (*range(-1, -shortest - 1, -1), *range(shortest))]
    running = [numbers for numbers in found if runs_on(np.array(numbers, dtype=float))]
    if not running:
        return [None] * len(files)
    left_out = [numbers[-1] - numbers[0] for numbers in running]
    return [*running[left_out.index(min(left_out))]]


def _stem(file: str) -> str:
    """File name without folders, compression and extension; `26.03.2026 stop 6.csv.gz` keeps its date."""
    name = re.sub(r"\.(gz|zst)$", "", file.rsplit("/", 1)[-1], flags=re.IGNORECASE)
    return name.rsplit(".", 1)[0]


def block_of(row: dict[str, Any], card: Card, order: Sequence[Block]) -> Block | None:
    """The block that an aligned row belongs to: by its schedule row, else by its name."""
    if row["schedule_row"] is not None:
        return order[row["schedule_row"]]
    return next((block for block in card.blocks if block.name == row["block"]), None)


def expanded(card: Card) -> list[Block]:
    """The block of each schedule row."""
    return [block for block in card.blocks for _ in range(block.stops)]


def schedule_findings(alignment: Alignment, entries: Sequence[Entry]) -> list[Finding]:
    """Extra, repeated and aborted stops, and what is missing."""
    extra = int(alignment.stops["state"].is_in(["extra", "repeat"]).sum())
    many = extra > max(MANY_EXTRA * len(entries), FEW_EXTRA)
    severity: Severity | None = "suspect" if many else None
    found = [_many(extra, len(entries), alignment)] if many else []
    for number, (row, entry) in enumerate(zip(alignment.stops.iter_rows(named=True), entries, strict=True), start=1):
        where: dict[str, Any] = {"stop": number, "file": entry.file}
        b = entry.braking
        if b is not None:
            where |= {"start_s": b.start_s, "end_s": b.end_s}
        if row["state"] == "extra":
            found.append(finding("stop_extra", f"stop {number} is not in the schedule", severity=severity, **where))
        elif row["state"] == "repeat":
            text = f"stop {number} repeats one of block {row['block']}"
            found.append(finding("stop_extra", text, severity=severity, **where))
        elif row["state"] == "aborted":
            found.append(finding("stop_aborted", f"stop {number} of block {row['block']} was broken off", **where))
    for row in alignment.missing.iter_rows(named=True):
        message = f"a stop of block {row['block']} has no recording: {row['why']}"
        evidence = {"after_stop": row["after"], "counted": row["counted"], "run_number": row["run_number"]}
        found.append(finding("stop_missing", message, evidence=evidence))
    return found


def _many(extra: int, stops: int, alignment: Alignment) -> Finding:
    numbers = [i for i, state in enumerate(alignment.stops["state"], start=1) if state in ("extra", "repeat")]
    tail = numbers == list(range(numbers[0], numbers[0] + extra)) and numbers[-1] == stops
    guess = (
        f"from stop {numbers[0]} on all are: the recordings of another test, or of a second run"
        if tail
        else "another schedule was run"
    )
    text = f"{extra} of {stops} stops are not in the schedule: {guess}; they are left out of all models"
    return finding("stops_extra_many", text, evidence={"extra": extra, "stops": stops, "first": numbers[0]})


def missing_stops(alignment: Alignment, stops: pl.DataFrame, inertia: float) -> list[MissingStop]:
    """Missing recordings counted as run, with the energy from the schedule (of a drag: its block's median)."""
    rows = []
    for row in alignment.missing.filter(pl.col("counted")).iter_rows(named=True):
        energy: float | None = kinetic_energy(inertia, row["speed_start"], row["speed_end"]) / 1e3
        if row["kind"] == "drag":
            middle = stops.filter(pl.col("block") == row["block"])["energy_kj"].median()
            energy = float(middle) if isinstance(middle, int | float) else None
        rows.append(
            MissingStop(
                run_number=row["run_number"],
                block=row["block"],
                energy_kj=energy,
                taken_from="schedule" if row["kind"] != "drag" else "median of the block",
                why="no stop of this drag block was measured" if energy is None else None,
            )
        )
    return rows
