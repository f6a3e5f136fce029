"""The files of a test that cannot be used: tables without rows, and why."""

from pathlib import Path
from typing import Any

from pipeline.findings import Finding
from pipeline.results import write_json, write_parquet
from pipeline.stops.result import empty_summary
from pipeline.vocabulary import STOPS, TRACES, empty


def write_unusable(
    into: Path, *, test: str, method: str, why: str, findings: list[Finding], stamp: dict[str, Any]
) -> None:
    """All four files of the stops stage with `why` in the JSON ones."""
    write_parquet(into / "stops.parquet", empty(STOPS))
    write_parquet(into / "traces.parquet", empty(TRACES))
    head = {"test": test, "method": method, "unusable": why}
    write_json(into / "summary.json", head | empty_summary() | {"stamp": stamp})
    write_json(into / "stops_findings.json", head | {"findings": [f.as_dict() for f in findings], "stamp": stamp})
