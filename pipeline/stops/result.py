"""What the stops stage hands over for one test."""

from dataclasses import dataclass, field

import polars as pl

from pipeline.findings import Finding
from pipeline.results.summary import StopCounts, TestSummary
from pipeline.vocabulary import STOPS, empty


@dataclass(frozen=True)
class Result:
    """Tables stops and traces (see the vocabulary), the summary without method and stamp, the findings.

    excluded: rows of the stops excluded by hand as they would stand without that, columns of stops.
    """

    stops: pl.DataFrame
    traces: pl.DataFrame
    summary: TestSummary
    findings: list[Finding]
    excluded: pl.DataFrame = field(default_factory=lambda: empty(STOPS))


def stop_counts(stops: pl.DataFrame) -> StopCounts:
    """Stops of a table by status."""
    return StopCounts(**{name: int((stops["status"] == name).sum()) for name in ("ok", "suspect", "rejected")})
