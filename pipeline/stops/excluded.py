"""The engineer's own hand: stops that the card excludes are rejected, after everything else has been judged.

They go through the reduction like all others, so that zeros, lag and balance of the test do not depend on the choice;
then they lose their mu, and no model uses them. What they would be without the exclusion is kept beside the table, so
that they can be shown and what they would change can be told.
"""

from dataclasses import replace

import polars as pl

from pipeline.archive.card import Card
from pipeline.archive.exclusions import Exclusion
from pipeline.errors import InputError
from pipeline.findings import Finding, finding
from pipeline.results.model import renewed
from pipeline.stops.block_means import block_means
from pipeline.stops.reduce import NULL_WHEN_REJECTED
from pipeline.stops.result import Result, stop_counts

CODE = "excluded_by_hand"


def without_excluded(card: Card, result: Result) -> Result:
    """The result with the card's excluded stops rejected, told and set aside.

    Raises InputError where the card names a stop that the test has not: another one is meant, and it would be used.
    """
    if not card.exclude:
        return result
    stops, found = result.stops, []
    rows = {row["stop"]: row for row in stops.iter_rows(named=True)}
    for entry, exclusion in enumerate(card.exclude, start=1):
        unknown = [stop for stop in exclusion.stops if stop not in rows]
        if unknown:
            raise InputError(
                f"test.yaml: exclude.entry {entry}.stops: stop {unknown[0]} does not exist; the test has {len(rows)} brake "
                "applications, numbered from 1 in the order run. Correct the number"
            )
        found += [_told(stop, rows[stop]["file"], rows[stop]["mu"], exclusion) for stop in exclusion.stops]
    chosen = pl.col("stop").is_in([f.stop for f in found])
    kept = pl.concat_list(pl.col("findings"), pl.lit(CODE)).alias("findings")
    frame = stops.with_columns(
        pl.when(chosen).then(pl.lit("rejected")).otherwise(pl.col("status")).alias("status"),
        pl.when(chosen).then(kept).otherwise(pl.col("findings")).alias("findings"),
        *(pl.when(~chosen).then(pl.col(name)).alias(name) for name in NULL_WHEN_REJECTED),
    )
    summary = renewed(result.summary, stops=stop_counts(frame), block_means=block_means(frame))
    return replace(
        result, stops=frame, summary=summary, findings=[*result.findings, *found], excluded=stops.filter(chosen)
    )


def _told(stop: int, file: str | None, mu: float | None, exclusion: Exclusion) -> Finding:
    date = exclusion.date.isoformat() if exclusion.date else None
    who = ", ".join(part for part in (exclusion.by, date) if part)
    text = f"stop {stop}: excluded by hand: {exclusion.reason}" + (f" ({who})" if who else "")
    evidence = {"reason": exclusion.reason, "by": exclusion.by, "date": date, "mu": mu}
    return finding(CODE, text, stop=stop, file=file, evidence=evidence)
