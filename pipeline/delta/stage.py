"""The delta stage: two methods' results over one archive -> delta.parquet and delta.json."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from pipeline.delta import comparable, conclusions, figures, per_stop, verdict
from pipeline.delta.settings import differing
from pipeline.method import Method
from pipeline.results import read_table, version, write_parquet
from pipeline.results.batches import CompoundBatches
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.delta import Comparable, Delta, Overview
from pipeline.results.drift import TestDrift
from pipeline.results.duty import CompoundDuty
from pipeline.results.friction import TestFriction
from pipeline.results.model import read_or_none, renewed, write
from pipeline.results.record import Record
from pipeline.results.shares import Shares
from pipeline.results.sheet import Sheet
from pipeline.results.summary import TestSummary
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
        read_or_none(into / "shares.json", Shares),
    )
    write_parquet(into / "delta.parquet", delta)
    write(into / "delta.json", renewed(content, a=a, b=b, software=version()))


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
        found = read_or_none(record, Record)
        if found is not None and found.holds == "summary":
            kept.append(test)
    return kept


def compare(
    delta: pl.DataFrame,
    tests: list[str],
    compounds: dict[str, str],
    folders: tuple[Path, Path],
    methods: tuple[Method, Method],
    summary_only: list[str],
    shares: Shares | None = None,
) -> Delta:
    """delta.json without its heading; `compounds` maps a compound to its folder's name, shares: what each setting does alone."""
    found, of_sheets = [], []
    for test in tests:
        found += conclusions.of_test(test, *(test_side(folder / "tests" / test) for folder in folders))
    for compound, slug in compounds.items():
        old, new = (_of_compound(folder / "compounds" / slug) for folder in folders)
        found += conclusions.of_compound(compound, old, new)
        of_sheets.append(figures.of_sheets(compound, old.sheet, new.sheet))
    changed = [row for row in found if row.changed]
    moved = figures.together([*of_sheets, figures.of_tests(found)])
    reprocessed = delta.filter(~pl.col("test").is_in(summary_only))
    classes = per_stop.by_class(reprocessed) if len(delta) else []
    judged = (
        comparable.answer(delta, classes, changed, summary_only)
        if len(delta)
        else Comparable(answer="no", text="No test has stops under both methods.")
    )
    return Delta(
        verdict=verdict.sentences(changed, moved, judged, summary_only, shares),
        settings=differing(*methods),
        overview=per_stop.overview(delta) if len(delta) else Overview(),
        classes=judged.classes or classes,
        blocks=per_stop.by_block(delta) if len(delta) else [],
        largest=per_stop.largest(delta) if len(delta) else [],
        examples=per_stop.examples(reprocessed) if len(delta) else [],
        status_changes=per_stop.status_changes(delta) if len(delta) else [],
        conclusions=found,
        changed=changed,
        figures=moved,
        comparable=judged,
        not_reprocessable=summary_only,
    )


def test_side(folder: Path) -> conclusions.OfTest:
    """What is concluded of a test under one method, from its results folder."""
    return conclusions.OfTest(
        summary=read_or_none(folder / "summary.json", TestSummary),
        friction=read_or_none(folder / "friction.json", TestFriction),
        wear=read_or_none(folder / "wear.json", TestWear),
        drift=read_or_none(folder / "drift.json", TestDrift),
    )


def _of_compound(folder: Path) -> conclusions.OfCompound:
    return conclusions.OfCompound(
        friction=read_or_none(folder / "friction.json", CompoundFriction),
        wear=read_or_none(folder / "wear.json", CompoundWear),
        batches=read_or_none(folder / "batches.json", CompoundBatches),
        duty=read_or_none(folder / "duty.json", CompoundDuty),
        sheet=read_or_none(folder / "sheet.json", Sheet),
    )
