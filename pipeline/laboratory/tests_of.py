"""The tests of the archive under one method, as the laboratory's statistics want them."""

from __future__ import annotations

from pathlib import Path

from pipeline.archive.card import load_card
from pipeline.archive.scan import scan
from pipeline.errors import InputError
from pipeline.laboratory.readings import LabTest, changed_at
from pipeline.results import read_table
from pipeline.results.drift import TestDrift
from pipeline.results.model import read, read_or_none
from pipeline.results.rigs import Rigs
from pipeline.results.summary import TestSummary
from pipeline.results.wear import TestWear

FILES = ("stops.parquet", "summary.json", "wear.json")


def load_tests(archive: Path, results: Path, rigs: Rigs, *, drift: bool) -> tuple[list[LabTest], dict[str, Path]]:
    """(usable tests in order of date, every file read). results: folder of a method; drift: whether verdicts of drift
    are read too. Copies of another test, as `rigs` names them, are no tests of their own.
    """
    copies = {item.test for item in rigs.copies if item.whole}
    tests: list[LabTest] = []
    inputs: dict[str, Path] = {}
    for name in scan(archive, results.parent).tests:
        folder = results / "tests" / name
        paths = {f"{name}/{file}": folder / file for file in (*FILES, *(["drift.json"] if drift else []))}
        inputs |= paths
        if name in copies or not (folder / "stops.parquet").is_file():
            continue
        summary = read_or_none(folder / "summary.json", TestSummary)
        if summary is None or summary.unusable:
            continue
        try:
            card = load_card(archive / name)
        except InputError:
            continue
        verdict = read_or_none(folder / "drift.json", TestDrift) if drift else None
        stops = read_table(folder / "stops.parquet")
        if stops.is_empty():
            continue
        tests.append(
            LabTest(
                test=name,
                compound=card.compound,
                batch=card.batch,
                specimen=card.specimen,
                date=card.date,
                rig=card.rig,
                state=rigs.epochs.get(name, card.rig),
                stops=stops,
                summary=summary,
                wear=read_or_none(folder / "wear.json", TestWear) or TestWear(test=name),
                changed_at=changed_at(verdict.verdict, verdict.onset_stop) if verdict else None,
            )
        )
    return sorted(tests, key=lambda t: (t.date, t.test)), inputs


def read_rigs(path: Path) -> Rigs:
    """rigs.json."""
    return read(path, Rigs)
