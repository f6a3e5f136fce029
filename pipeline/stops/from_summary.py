"""A test of which only reduced rows were kept, taken over into the stops table and marked.

Nothing is reduced: columns are the old test's, by whatever method it had. What follows from the card alone (block
facts, energy densities, kinetic energy) is filled in where the old table lacks it.
"""

from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.constants import ZERO_C
from pipeline.errors import InputError
from pipeline.findings import Finding, finding
from pipeline.results import read_table
from pipeline.results.record import Record
from pipeline.results.summary import TestSummary
from pipeline.stops.result import Result, stop_counts
from pipeline.vocabulary import STOPS, TRACES, conform, empty
from pipeline.wording import counted

CODE = "not_reprocessable"


class Scheduled(NamedTuple):
    """What the schedule says of a row of the kept table; nothing where the row has no block of it."""

    block: str | None = None
    purpose: str | None = None
    kind: str | None = None
    control: str | None = None
    pressure_bar: float | None = None
    temperature_c: float | None = None
    row: int | None = None


def taken_over(card: Card, channels: Path, ingest: Record) -> Result:
    """Stops of a `holds: summary` test. Raises InputError where the table has no row."""
    rows = read_table(channels)
    if not rows.height:
        raise InputError("the summary has no rows")
    found = [finding(CODE, "only a reduced table was kept of this test: shown and compared, not reduced again")]
    files = {r.recording: r.file for r in ingest.recordings}
    frame = conform(rows.drop("stop", strict=False), STOPS)
    number = np.arange(1, rows.height + 1)
    blocks, further = _blocks(frame, card)
    found += further
    text = {
        name: pl.Series(name, [getattr(b, name) for b in blocks], dtype=pl.String)
        for name in ("block", "purpose", "kind", "control")
    }
    frame = frame.with_columns(
        stop=pl.Series(number),
        run_number=pl.Series(number),
        file=pl.coalesce(
            pl.col("file"), pl.col("recording").replace_strict(files, default=None, return_dtype=pl.String)
        ),
        **{name: pl.coalesce(pl.col(name), pl.lit(series)) for name, series in text.items()},
        target_pressure_bar=pl.coalesce(pl.col("target_pressure_bar"), pl.lit(_floats(b.pressure_bar for b in blocks))),
        target_temperature_c=pl.coalesce(
            pl.col("target_temperature_c"), pl.lit(_floats(b.temperature_c for b in blocks))
        ),
        schedule_row=pl.coalesce(pl.col("schedule_row"), pl.lit(pl.Series([b.row for b in blocks], dtype=pl.Int64))),
        status=_status(),
        findings=pl.Series([[CODE]] * rows.height, dtype=pl.List(pl.String)),
    )
    frame = _filled(frame, card)
    implausible = frame.filter((pl.col("mu") <= 0) | (pl.col("mu") > 1.5))
    for stop, file, mu in implausible.select("stop", "file", "mu").iter_rows():
        found.append(
            finding(
                "mu_implausible",
                f"stop {stop}: mu {mu:.3g} in the kept table",
                stop=stop,
                file=file,
                evidence={"mu": mu},
            )
        )
    return Result(frame, empty(TRACES), _summary(card, frame), found)


def _status() -> pl.Expr:
    """Status of a row, or where the table has none of ours: ok where they have a friction coefficient, else
    rejected.
    """
    known = pl.col("status").is_in(["ok", "suspect", "rejected"])
    own = pl.when(pl.col("mu").is_null()).then(pl.lit("rejected")).otherwise(pl.lit("ok"))
    return pl.when(known).then(pl.col("status")).otherwise(own)


def _blocks(frame: pl.DataFrame, card: Card) -> tuple[list[Scheduled], list[Finding]]:
    """What the schedule says of each row: by the mapped block column, else the schedule's order."""
    by_name = {b.name: b for b in card.blocks}
    expanded = [b for b in card.blocks for _ in range(b.stops)]
    found: list[Finding] = []
    mapped = frame["block"].is_not_null().any()
    if not mapped and frame.height != len(expanded):
        text = (
            f"the kept table has {counted(frame.height, 'row')}, the schedule {counted(len(expanded), 'stop')}; rows follow the "
            "schedule's order"
        )
        found.append(finding("stop_missing" if frame.height < len(expanded) else "stop_extra", text))
    unknown = sorted({name for name in frame["block"].drop_nulls().to_list() if name not in by_name})
    if unknown:
        found.append(
            finding("stop_extra", f"blocks of the kept table that the schedule does not have: {', '.join(unknown[:5])}")
        )
    facts: list[Scheduled] = []
    for i, name in enumerate(frame["block"].to_list()):
        block = by_name.get(name) if mapped else (expanded[i] if i < len(expanded) else None)
        if block is None:
            facts.append(Scheduled())
            continue
        temperature = None if block.initial_temperature is None else block.initial_temperature - ZERO_C
        facts.append(
            Scheduled(
                block=block.name,
                purpose=block.purpose,
                kind=block.kind,
                control=block.control,
                pressure_bar=None if block.pressure is None else block.pressure / 1e5,
                temperature_c=temperature,
                row=None if mapped else i,
            )
        )
    return facts, found


def _floats(values: Iterable[float | None]) -> pl.Series:
    return pl.Series(list(values), dtype=pl.Float64)


def _filled(frame: pl.DataFrame, card: Card) -> pl.DataFrame:
    """Densities and kinetic energy where the kept table has what they follow from."""
    rad = np.pi / 30
    kinetic = 0.5 * card.inertia * ((pl.col("speed_start_rpm") * rad) ** 2 - (pl.col("speed_end_rpm") * rad) ** 2) / 1e3
    density = pl.col("energy_kj") * 1e3 / card.brake.friction_area / 1e6
    return frame.with_columns(
        kinetic_energy_kj=pl.coalesce(pl.col("kinetic_energy_kj"), pl.when(pl.col("kind") != "drag").then(kinetic)),
        energy_density_j_mm2=pl.coalesce(pl.col("energy_density_j_mm2"), density),
        power_density_w_mm2=pl.coalesce(
            pl.col("power_density_w_mm2"), pl.when(pl.col("duration_s") > 0).then(density / pl.col("duration_s"))
        ),
        mu_rise=pl.coalesce(
            pl.col("mu_rise"), pl.when(pl.col("mu_start") > 0).then(pl.col("mu_end") / pl.col("mu_start"))
        ),
    )


def _summary(card: Card, frame: pl.DataFrame) -> TestSummary:
    return TestSummary(
        test=card.test, reprocessable=False, stops=stop_counts(frame), why="only reduced rows were kept of this test"
    )
