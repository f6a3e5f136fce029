"""`stopsheet findings`: findings.json of one test, from what the stages before wrote; draws nothing.

The page of the test and the sheet of its compound are drawn from this file and the stages' own, so that a page that can't be
drawn takes no finding with it.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pipeline import vocabulary
from pipeline.findings import finding
from pipeline.report import merge
from pipeline.results import read_json, read_table, write_json
from pipeline.results.drift import TestDrift
from pipeline.results.model import read_or_none

STAGES = ("summary", "stops_findings", "friction", "wear", "wear_findings")
TABLES = (("stops", vocabulary.STOPS), ("traces", vocabulary.TRACES))


def run(*, folder: Path, method: str, record: Path, rigs: Path, renamed: str | None, into: Path) -> None:
    """Write `into`/findings.json.

    `folder` is the test's folder in the archive, `into` its results folder, `record` the ingest record, `rigs` the method's
    rigs.json, `renamed` the folder name that the compound got to keep it apart from another.
    """
    found = _json_of(into, record, rigs)
    raised = [found[name] for name in ("channels", *STAGES, "rigs")]
    if renamed:
        raised.append([finding("compound_renamed", _renamed(renamed)).as_dict()])
    write_json(into / "findings.json", merge.merged(folder.name, method, raised, unusable=why_unusable(found)))


def _renamed(slug: str) -> str:
    return f"the compound's results stand in the folder {slug!r}, because its name alone would be empty or another compound's"


def load(folder: Path, channels: Path, rigs: Path) -> dict[str, Any]:
    """The stages' files by name, drift typed; a missing JSON is {}, a missing table an empty one."""
    found = _json_of(folder, channels, rigs)
    found["drift"] = drift_of(folder)
    for name, table in TABLES:
        path = folder / f"{name}.parquet"
        found[name] = read_table(path) if path.is_file() else vocabulary.empty(table)
    return found


def drift_of(folder: Path) -> TestDrift:
    """The test's drift.json; one that says so where there is none."""
    missing = TestDrift(test=folder.name, unusable="drift.json does not exist")
    return read_or_none(folder / "drift.json", TestDrift) or missing


def _json_of(folder: Path, channels: Path, rigs: Path) -> dict[str, Any]:
    paths: dict[str, Path] = {"channels": channels, "rigs": rigs, **{name: folder / f"{name}.json" for name in STAGES}}
    return {name: read_json(path) if path.is_file() else {} for name, path in paths.items()}


def why_unusable(found: Mapping[str, Any]) -> str | None:
    """The first reason that a stage gives for the test being unusable."""
    for name in ("channels", "summary"):
        reason = found[name].get("unusable")
        if reason:
            return str(reason)
    return None
