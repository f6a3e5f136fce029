"""What the sheet is made from: every file loaded once, under the name by which the sheet cites it."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TypeVar

import polars as pl

from pipeline import vocabulary
from pipeline.archive.card import Card, load_card
from pipeline.archive.facts import read_facts
from pipeline.archive.targets import Target
from pipeline.archive.title_block import TitleBlockFile
from pipeline.constants import ZERO_C
from pipeline.errors import InputError
from pipeline.inputs.model import load as load_model
from pipeline.method import Method, from_stage_settings
from pipeline.report.card_figures import CardFigures, card_figures
from pipeline.report.source import Cited
from pipeline.results import read_table
from pipeline.results.batches import CompoundBatches
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.drift import TestDrift
from pipeline.results.duty import CompoundDuty
from pipeline.results.extracts import FOLDER
from pipeline.results.findings import Findings
from pipeline.results.friction import TestFriction
from pipeline.results.model import Result, given, read_or_none
from pipeline.results.rigs import Rigs
from pipeline.results.sheet import Amended, TitleBlock
from pipeline.results.summary import TestSummary
from pipeline.results.targets import CompoundTargets
from pipeline.results.wear import CompoundWear, TestWear
from pipeline.wear.readings import read_wear

R = TypeVar("R", bound=Result)


class TargetFigures(Result):
    """The target's figures in the sheet's units, under its own keys."""

    temperature_window: list[float] | None = given("target range", "degC", default=None)
    mu: list[float] | None = given("target band of mu", default=None)
    mu_batch_margin: float | None = given("margin of mu between batches", default=None)
    bite_margin: float | None = given("margin of bite between batches, of mu or as a share", default=None)
    bite_margin_relative: bool | None = given("whether that margin is a share of bite", default=None)
    disc_wear: float | None = given("most wear of a disc per stop and face", "um", default=None)
    wear_batch_ratio: list[float] | None = given("margins of the wear ratio between batches", default=None)
    why: str = given("why a figure is null", default="not stated in the target")


@dataclass(frozen=True)
class BatchFacts:
    """Facts of the compound's batches, as texts in the order of `columns`, and the table's name."""

    file: str = ""
    columns: tuple[str, ...] = ()
    of: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class OfTest:
    """One test's card and results."""

    test: str
    card: Card | None
    card_error: str | None
    facts: Cited[CardFigures]
    stops: pl.DataFrame
    summary: Cited[TestSummary]
    friction: Cited[TestFriction]
    wear: Cited[TestWear]
    drift: Cited[TestDrift]
    findings: Cited[Findings]
    readings: pl.DataFrame | None = None  # of wear, in SI; None without any that can be read

    @property
    def unusable(self) -> str | None:
        """Why the test can't be used, or None."""
        return self.card_error or self.summary.result.unusable


@dataclass(frozen=True)
class Inputs:
    """All that a compound's sheet is made from."""

    compound: str
    method: str
    settings: Method
    digest: str
    software: str
    tests: Sequence[OfTest]
    friction: Cited[CompoundFriction]
    wear: Cited[CompoundWear]
    batches: Cited[CompoundBatches]
    duty: Cited[CompoundDuty]
    judged: Cited[CompoundTargets]
    rigs: Cited[Rigs]
    target: Cited[TargetFigures] | None
    facts: BatchFacts
    compared: Sequence[str] = ()
    title_block: TitleBlock = field(default_factory=TitleBlock)
    files: Mapping[str, Path] = field(default_factory=dict)

    @property
    def results_digest(self) -> str:
        """First half of the SHA-256 over the compound's results files, names and bytes."""
        own = {name: self.digest_of(name) for name in sorted(self.files) if name.startswith("compounds/")}
        return hashlib.sha256("".join(f"{name} {digest}\n" for name, digest in own.items()).encode()).hexdigest()[:16]

    def digest_of(self, name: str) -> str | None:
        """SHA-256 of the file cited under the name; None where it is not one file or does not exist."""
        path = self.files.get(name)
        return None if path is None or not path.is_file() else hashlib.sha256(path.read_bytes()).hexdigest()

    @property
    def newest(self) -> date | None:
        """Date of the newest test."""
        return max((test.card.date for test in self.tests if test.card), default=None)

    @property
    def batch_names(self) -> list[str]:
        """The batches of the tests in the order in which every table and figure takes them."""
        return sorted({test.card.batch for test in self.tests if test.card})

    @property
    def dated(self) -> date | None:
        """Date of the document, which has no clock: the date of issue, or where none is stated the newest test's."""
        stated = self.title_block.date
        return self.newest if stated is None else date.fromisoformat(stated)

    @property
    def usable(self) -> list[OfTest]:
        """The tests that can be used and count: a copy of another's recordings does not."""
        left_out = self.friction.result.tests_left_out
        return [test for test in self.tests if not test.unusable and test.test not in left_out]


def load(
    *,
    compound: str,
    archive: Path,
    tests: Sequence[str],
    results: Path,
    method: str,
    target: Path | None,
    settings: str,
    into: Path,
    software: str,
    facts: Path | None = None,
    compared: Sequence[str] = (),
    title_block: Path | None = None,
) -> Inputs:
    """Read every file of the compound and its tests; a missing file is an empty one that says so."""

    def own(name: str, model: type[R]) -> Cited[R]:
        return cited(into / name, f"compounds/{into.name}/{name}", model, compound=compound)

    read = [of_test(name, archive / name, results / "tests" / name) for name in tests]
    return Inputs(
        compound=compound,
        method=method,
        settings=from_stage_settings(settings),
        digest=hashlib.sha256(settings.encode()).hexdigest()[:16],
        software=software,
        tests=read,
        friction=own("friction.json", CompoundFriction),
        wear=own("wear.json", CompoundWear),
        batches=own("batches.json", CompoundBatches),
        duty=own("duty.json", CompoundDuty),
        judged=own("targets.json", CompoundTargets),
        rigs=cited(into / RIGS, f"compounds/{into.name}/{RIGS}", Rigs),
        target=target_figures(target) if target else None,
        facts=facts_of(facts, compound),
        compared=compared,
        title_block=stated(title_block),
        files=files_of(archive, tests, results, into, target=target, facts=facts, title_block=title_block)
        | reading_files(archive, read),
    )


RIGS = f"{FOLDER}/rigs.json"  # below a compound's folder: what is cut out for it
COMPOUND_FILES = ("friction.json", "wear.json", "batches.json", "duty.json", "targets.json")
TEST_FILES = ("stops.parquet", "summary.json", "friction.json", "wear.json", "drift.json", "findings.json")


def files_of(
    archive: Path,
    tests: Sequence[str],
    results: Path,
    into: Path,
    *,
    target: Path | None = None,
    facts: Path | None = None,
    title_block: Path | None = None,
) -> dict[str, Path]:
    """The files that a sheet is made from, by the names under which it cites them."""
    found = {f"compounds/{into.name}/{name}": into / name for name in COMPOUND_FILES}
    for test in tests:
        found |= {f"tests/{test}/{name}": results / "tests" / test / name for name in TEST_FILES}
        found[f"archive/{test}/test.yaml"] = archive / test / "test.yaml"
    found[f"compounds/{into.name}/{RIGS}"] = into / RIGS
    for kind, path in (("targets", target), ("facts", facts), ("sheets", title_block)):
        if path is not None:
            found[f"{kind}/{path.name}"] = path
    return found


def reading_files(archive: Path, tests: Sequence[OfTest]) -> dict[str, Path]:
    """The files of wear readings that the sheet reads, by the names under which it cites them."""
    return {
        f"archive/{one.test}/{one.card.wear}": archive / one.test / one.card.wear
        for one in tests
        if one.readings is not None and one.card and one.card.wear
    }


def facts_of(path: Path | None, compound: str) -> BatchFacts:
    """The compound's batches in the table of facts; none where it cannot be used, which archive.json tells."""
    if path is None:
        return BatchFacts()
    try:
        table = read_facts(path)
    except InputError:
        return BatchFacts()
    return BatchFacts(path.name, table.columns, table.of(compound))


def stated(path: Path | None) -> TitleBlock:
    """What a file states for the title block; nothing, with the reason, where it cannot be used."""
    if path is None:
        return TitleBlock()
    name = f"sheets/{path.name}"
    try:
        found = load_model(path, TitleBlockFile)
    except InputError as error:
        return TitleBlock(file=name, why=str(error))
    return TitleBlock(
        report_number=found.report_number,
        issue=found.issue,
        date=found.date.isoformat() if found.date else None,
        prepared=found.prepared,
        reviewed=found.reviewed,
        text=found.text,
        language=found.language,
        amendments=[Amended(issue=one.issue, date=one.date.isoformat(), what=one.what) for one in found.amendments],
        file=name,
        why=f"not stated in {name}",
    )


def cited(path: Path, name: str, model: type[R], **head: str) -> Cited[R]:
    """A results file under the name by which it is cited; one that is missing says so."""
    found = read_or_none(path, model)
    return Cited(name, found or model.model_validate({**head, "unusable": f"{name} does not exist"}))


def of_test(name: str, folder: Path, results: Path) -> OfTest:
    """One test's files; a card that can't be read leaves its message."""
    try:
        card, error = load_card(folder), None
    except InputError as problem:
        card, error = None, str(problem)
    path = results / "stops.parquet"

    def own(file: str, model: type[R]) -> Cited[R]:
        return cited(results / file, f"tests/{name}/{file}", model, test=name)

    return OfTest(
        test=name,
        card=card,
        card_error=error,
        facts=Cited(f"archive/{name}/test.yaml", card_figures(card) if card else CardFigures(why=error)),
        stops=read_table(path) if path.is_file() else vocabulary.empty(vocabulary.STOPS),
        summary=own("summary.json", TestSummary),
        friction=own("friction.json", TestFriction),
        wear=own("wear.json", TestWear),
        drift=own("drift.json", TestDrift),
        findings=own("findings.json", Findings),
        readings=_readings(folder, card),
    )


def _readings(folder: Path, card: Card | None) -> pl.DataFrame | None:
    """The test's wear readings; None where there are none, or wear.json says why they cannot be used."""
    if card is None or card.wear is None:
        return None
    try:
        return read_wear(folder / card.wear, inside=folder)[0]
    except InputError:
        return None


def target_figures(path: Path) -> Cited[TargetFigures]:
    """The target's figures, none with why where the file cannot be used."""
    name = f"targets/{path.name}"
    try:
        target = load_model(path, Target)
    except InputError as error:
        return Cited(name, TargetFigures(why=str(error)))
    window = target.temperature_window
    figures = TargetFigures(
        temperature_window=[round(t - ZERO_C, 6) for t in window] if window else None,
        mu=list(target.mu) if target.mu else None,
        mu_batch_margin=target.mu_batch_margin,
        bite_margin=target.bite_margin.value if target.bite_margin else None,
        bite_margin_relative=target.bite_margin.relative if target.bite_margin else None,
        disc_wear=None if target.disc_wear is None else round(target.disc_wear * 1e6, 9),
        wear_batch_ratio=list(target.wear_batch_ratio) if target.wear_batch_ratio else None,
    )
    return Cited(name, figures)
