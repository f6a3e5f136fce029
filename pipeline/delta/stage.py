"""The delta stage: two methods' results over one archive -> delta.parquet and delta.json."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import polars as pl

from pipeline.delta import comparable, conclusions, per_stop
from pipeline.delta.settings import differing
from pipeline.method import Method
from pipeline.results import read_json, read_table, version, write_json, write_parquet
from pipeline.results.batches import CompoundBatches
from pipeline.results.drift import TestDrift
from pipeline.results.duty import CompoundDuty
from pipeline.results.model import read_or_none
from pipeline.results.wear import CompoundWear, TestWear
from pipeline.vocabulary import DELTA, conform, empty
from pipeline.workspace.run import load_run


def run(*, config: Path, a: str, b: str, into: Path) -> None:
    """Compare method `a` with method `b` of the workspace; writes delta.parquet and delta.json into `into`."""
    the_run = load_run(config)
    methods = dict(the_run.read_methods)
    folders = (Path(the_run.results) / a, Path(the_run.results) / b)
    delta = stop_table(the_run.tests, folders)
    content = compare(
        delta,
        the_run.tests,
        dict(the_run.slug_of),
        folders,
        (methods[a], methods[b]),
        summary_tests(the_run.tests, folders),
    )
    write_parquet(into / "delta.parquet", delta)
    write_json(into / "delta.json", {"a": a, "b": b} | content | {"software": version()})


def stop_table(tests: list[str], folders: tuple[Path, Path]) -> pl.DataFrame:
    """delta.parquet over all tests."""
    parts = []
    for test in tests:
        paths = [folder / "tests" / test / "stops.parquet" for folder in folders]
        if all(path.is_file() for path in paths):
            parts.append(per_stop.matched(test, *(read_table(path) for path in paths)))
    return pl.concat(parts) if parts else conform(empty(DELTA), DELTA)


def summary_tests(tests: list[str], folders: tuple[Path, Path]) -> list[str]:
    """Tests of which only a reduced row per stop was kept."""
    kept = []
    for test in tests:
        record = folders[0].parent / "channels" / f"{test}.json"
        if record.is_file() and read_json(record).get("holds") == "summary":
            kept.append(test)
    return kept


def compare(
    delta: pl.DataFrame,
    tests: list[str],
    compounds: dict[str, str],
    folders: tuple[Path, Path],
    methods: tuple[Method, Method],
    summary_only: list[str],
) -> dict[str, Any]:
    """delta.json without its heading; `compounds` maps a compound to its folder's name."""
    found = []
    for test in tests:
        found += conclusions.of_test(test, *(_of_test(folder / "tests" / test) for folder in folders))
    for compound, slug in compounds.items():
        found += conclusions.of_compound(compound, *(_of_compound(folder / "compounds" / slug) for folder in folders))
    changed = [row for row in found if row["changed"]]
    reprocessed = delta.filter(~pl.col("test").is_in(summary_only))
    classes = per_stop.by_class(reprocessed) if len(delta) else []
    return {
        "settings": differing(*methods),
        "overview": per_stop.overview(delta) if len(delta) else {"stops": 0},
        "classes": classes,
        "blocks": per_stop.by_block(delta) if len(delta) else [],
        "largest": per_stop.largest(delta) if len(delta) else [],
        "status_changes": per_stop.status_changes(delta) if len(delta) else [],
        "conclusions": found,
        "changed": changed,
        "comparable": comparable.answer(delta, classes, changed, summary_only)
        if len(delta)
        else {"answer": "no", "text": "no test has stops under both methods", "classes": []},
        "not_reprocessable": summary_only,
    }


def _of_test(folder: Path) -> conclusions.OfTest:
    return conclusions.OfTest(
        wear=read_or_none(folder / "wear.json", TestWear),
        drift=read_or_none(folder / "drift.json", TestDrift),
        **_read(folder, ("summary", "friction")),
    )


def _of_compound(folder: Path) -> conclusions.OfCompound:
    return conclusions.OfCompound(
        batches=read_or_none(folder / "batches.json", CompoundBatches),
        duty=read_or_none(folder / "duty.json", CompoundDuty),
        wear=read_or_none(folder / "wear.json", CompoundWear),
        **_read(folder, ("friction", "sheet")),
    )


def _read(folder: Path, names: tuple[str, ...]) -> dict[str, Any]:
    """The JSON files of a folder by stem; None where missing."""
    return {name: read_json(folder / f"{name}.json") if (folder / f"{name}.json").is_file() else None for name in names}
