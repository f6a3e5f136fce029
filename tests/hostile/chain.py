"""Every stage in this process, as the workflow calls them, without the guard: a fault shows as what it is."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from pipeline.archive.scan import scan, slugs
from pipeline.method import Method, settings_of

METHOD = "plain"
REPO = Path(__file__).parents[2]


def settings(stage: str) -> str:
    return settings_of(Method(), stage)


def to_stops(folder: Path, results: Path) -> None:
    """Ingest and reduction of one test."""
    from pipeline.stops import stage as stops

    table, record = results / "channels" / f"{folder.name}.parquet", results / "channels" / f"{folder.name}.json"
    into = results / METHOD / "tests" / folder.name
    into.mkdir(parents=True, exist_ok=True)
    read(folder, table, record)
    stops.run(folder=folder, channels=table, record=record, into=into, settings=settings("stops"))


BINARY = (".mf4", ".tdms", ".parquet")
APART = """
import sys
from pathlib import Path
from pipeline.cli.bounds import read_within
test, table, record = map(Path, sys.argv[1:])
refused = read_within(table.parent)
from pipeline.recordings import stage
stage.run(test, table, record, refused=refused)
"""


def read(folder: Path, table: Path, record: Path) -> None:
    """Ingest; of binary recordings in a process of its own, as the workflow does: a library may crash on them."""
    from pipeline.recordings import stage

    table.parent.mkdir(parents=True, exist_ok=True)
    if not any(suffix in path.name for path in folder.rglob("*") for suffix in BINARY):
        stage.run(folder, table, record)
        return
    done = subprocess.run(
        [sys.executable, "-c", APART, *map(str, (folder, table, record))], env=os.environ | {"PYTHONPATH": str(REPO)},
        capture_output=True, text=True, check=False, errors="replace",
    )  # fmt: skip
    if done.returncode:
        raise RuntimeError(f"ingest ended with {done.returncode}: {done.stderr[-2000:]}")


def per_test(folder: Path, results: Path) -> None:
    """The stages of one test up to drift, without what its compound pools."""
    from pipeline.drift import stage as drift
    from pipeline.friction import stage as friction
    from pipeline.wear import stage as wear

    to_stops(folder, results)
    into = results / METHOD / "tests" / folder.name
    friction.run(folder=folder, settings=settings("friction"), target=None, into=into)
    wear.run(folder=folder, settings=settings("wear"), into=into)
    drift.run(folder=folder, settings=settings("drift"), repeatability=None, into=into)


def pages(archive: Path, results: Path, tests: list[str]) -> None:
    """Rigs and the pages of the tests named."""
    from pipeline.report import per_test_findings, per_test_page
    from pipeline.rigs import stage as rigs

    out = results / METHOD / "rigs.json"
    rigs.run(
        archive=archive,
        results=results / METHOD,
        rigs=[],
        into=out.parent,
        settings=settings("rigs"),
    )
    for test in tests:
        own = {
            "folder": archive / test, "method": METHOD, "record": results / "channels" / f"{test}.json", "rigs": out,
            "into": results / METHOD / "tests" / test,
        }  # fmt: skip
        per_test_findings.run(**own, renamed=None)
        per_test_page.run(**{key: value for key, value in own.items() if key != "rigs"}, settings=settings("test_page"))


def compounds(archive: Path, results: Path) -> None:
    """Compound files, sheets of every compound that the archive names."""
    from pipeline.compound import stage as compound
    from pipeline.drift import repeatability
    from pipeline.report import sheet

    found = scan(archive)
    for name, slug in slugs(found.compounds).items():
        tests = [test for test, of in found.tests.items() if of == name]
        into = results / METHOD / "compounds" / slug
        into.mkdir(parents=True, exist_ok=True)
        repeatability.run(
            compound=name, archive=archive, tests=tests, results=results / METHOD,
            settings=settings("repeatability"), into=into,
        )  # fmt: skip
        compound.run(
            compound=name, archive=archive, tests=tests, results=results / METHOD, rigs=results / METHOD / "rigs.json",
            target=None, duties=[], into=into,
            settings=settings("compound"),
        )  # fmt: skip
        sheet.run(
            compound=name, archive=archive, tests=tests, results=results / METHOD, method=METHOD, target=None,
            settings=settings("sheet"), into=into,
        )  # fmt: skip
