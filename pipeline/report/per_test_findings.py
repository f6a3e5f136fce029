"""`stopsheet findings`: findings.json of one test, from what the stages before wrote; draws nothing.

The page of the test and the sheet of its compound are drawn from this file and the stages' own, so that a page that
can't be drawn takes no finding with it.
"""

from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from pipeline import vocabulary
from pipeline.findings import finding
from pipeline.report import merge
from pipeline.results import read_table
from pipeline.results.charts import Charts
from pipeline.results.drift import TestDrift
from pipeline.results.findings import Findings, Found, recorded
from pipeline.results.friction import TestFriction
from pipeline.results.model import fields, read_or_none, write
from pipeline.results.record import Record
from pipeline.results.rigs import Rigs
from pipeline.results.summary import TestSummary
from pipeline.results.wear import TestWear


@dataclass(frozen=True)
class OfStages:
    """What the stages wrote about a test; a file that is missing is one that says so, a missing table an empty one."""

    record: Record
    summary: TestSummary
    friction: TestFriction
    wear: TestWear
    drift: TestDrift
    stops: pl.DataFrame
    traces: pl.DataFrame
    excluded: pl.DataFrame = field(default_factory=lambda: vocabulary.empty(vocabulary.STOPS))

    @property
    def unusable(self) -> str | None:
        """The first reason that a stage gives for the test being unusable."""
        return self.record.unusable or self.summary.unusable


def run(
    *, folder: Path, method: str, record: Path, rigs: Path, renamed: str | None, into: Path, charts: Path | None = None
) -> None:
    """Write `into`/findings.json.

    `folder` is the test's folder in the archive, `into` its results folder, `record` the ingest record, `rigs` the
    method's rigs.json and `charts` its charts.json, whole or what is cut out of them for the test, `renamed` the folder name that the compound got to keep it apart from another.
    """
    test = folder.name
    read = record_of(test, record)
    raised = list(read.findings)
    for name in ("stops_findings", "wear_findings"):
        raised += findings_in(into / f"{name}.json", test)
    across = (read_or_none(rigs, Rigs) or Rigs()).findings
    across += (read_or_none(charts, Charts) or Charts()).findings if charts else []
    raised += [_found(item) for item in across if item.test == test]
    if renamed:
        raised += recorded([finding("compound_renamed", _renamed(renamed))])
    unusable = read.unusable or summary_of(into).unusable
    write(into / "findings.json", merge.merged(test, method, raised, unusable=unusable))


def _renamed(slug: str) -> str:
    return (
        f"the compound's results stand in the folder {slug!r}, because its name alone would be empty or another "
        "compound's"
    )


def _found(item: Found) -> Found:
    """The finding without the test that it names."""
    own = fields(item)
    return Found.model_validate({name: own[name] for name in Found.model_fields})


def load(folder: Path, record: Path) -> OfStages:
    """The stages' files of a test; `folder` holds its results, `record` is what was read of its recordings."""
    test = folder.name
    tables = {}
    for name, table in (("stops", vocabulary.STOPS), ("traces", vocabulary.TRACES), ("excluded", vocabulary.STOPS)):
        path = folder / f"{name}.parquet"
        tables[name] = read_table(path) if path.is_file() else vocabulary.empty(table)
    return OfStages(
        record=record_of(test, record),
        summary=summary_of(folder),
        friction=friction_of(folder),
        wear=wear_of(folder),
        drift=drift_of(folder),
        **tables,
    )


def record_of(test: str, path: Path) -> Record:
    return read_or_none(path, Record) or Record(test=test)


def summary_of(folder: Path) -> TestSummary:
    """The test's summary.json; an empty one where there is none."""
    return read_or_none(folder / "summary.json", TestSummary) or TestSummary(test=folder.name)


def friction_of(folder: Path) -> TestFriction:
    """The test's friction.json; one that says so where there is none."""
    missing = TestFriction(test=folder.name, unusable="friction.json does not exist")
    return read_or_none(folder / "friction.json", TestFriction) or missing


def wear_of(folder: Path) -> TestWear:
    """The test's wear.json; one that says so where there is none."""
    missing = TestWear(test=folder.name, unusable="wear.json does not exist")
    return read_or_none(folder / "wear.json", TestWear) or missing


def drift_of(folder: Path) -> TestDrift:
    """The test's drift.json; one that says so where there is none."""
    missing = TestDrift(test=folder.name, unusable="drift.json does not exist")
    return read_or_none(folder / "drift.json", TestDrift) or missing


def findings_in(path: Path, test: str) -> list[Found]:
    """Findings of a file; none where there is no file."""
    return (read_or_none(path, Findings) or Findings(test=test)).findings
