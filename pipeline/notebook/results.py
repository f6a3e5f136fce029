"""The results folder of a run read back: every file as its typed model, every table as a frame."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from os import PathLike
from pathlib import Path

import polars as pl

from pipeline.errors import InputError
from pipeline.notebook.faults import told
from pipeline.notebook.reduction import stops_words
from pipeline.notebook.test import finding_frame
from pipeline.report.per_test_findings import OfStages, findings_in, load
from pipeline.results import places
from pipeline.results.archive import Archive, TestState
from pipeline.results.batches import CompoundBatches
from pipeline.results.comparison import Comparison
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.delta import Delta
from pipeline.results.drift import TestDrift
from pipeline.results.duty import CompoundDuty
from pipeline.results.figures import Figures
from pipeline.results.findings import Found
from pipeline.results.friction import TestFriction
from pipeline.results.model import R, read, read_or_none
from pipeline.results.repeatability import Repeatability
from pipeline.results.sheet import Sheet
from pipeline.results.summary import TestSummary
from pipeline.results.targets import CompoundTargets
from pipeline.results.wear import CompoundWear
from pipeline.wording import counted


@dataclass(frozen=True, repr=False)
class TestResults(OfStages):
    """Results of one test: tables stops, traces and excluded (docs/tables.md); record, summary, friction, wear, drift, each
    the model of its JSON file (docs/results.md); found: the findings with their evidence, worst first."""

    __test__ = False  # not a test class, whatever its name says to a test collector

    found: tuple[Found, ...] = ()

    def __repr__(self) -> str:
        said = self.unusable and f"unusable: {self.unusable}"
        return f"<results of {self.record.test}: {said or stops_words(self.summary.stops)}; {counted(len(self.found), 'finding')}>"

    @property
    def findings(self) -> pl.DataFrame:
        """One row a finding: code (docs/findings.md), severity, stop, file, channel, start_s and end_s, message, action."""
        return finding_frame(self.found)


@dataclass(frozen=True, repr=False)
class CompoundResults:
    """Results of one compound; each part is the model of its JSON file (docs/results.md), read when it is asked for.

    Raises InputError where a run has not written the file.
    """

    folder: Path

    def __repr__(self) -> str:
        return f"<results of compound {self.folder.name}, method {self.folder.parents[1].name}>"

    @cached_property
    def friction(self) -> CompoundFriction:
        """Map, window, law at the face over all tests."""
        return _written(self.folder / "friction.json", CompoundFriction)

    @cached_property
    def wear(self) -> CompoundWear:
        """Rates and laws over all tests."""
        return _written(self.folder / "wear.json", CompoundWear)

    @cached_property
    def batches(self) -> CompoundBatches:
        """Batches compared."""
        return _written(self.folder / "batches.json", CompoundBatches)

    @cached_property
    def duty(self) -> CompoundDuty:
        """Projection to every duty."""
        return _written(self.folder / "duty.json", CompoundDuty)

    @cached_property
    def targets(self) -> CompoundTargets:
        """Every requirement of the target, and whether it is met."""
        return _written(self.folder / "targets.json", CompoundTargets)

    @cached_property
    def repeatability(self) -> Repeatability:
        """Pooled scatter of its stops: what `drift_verdict` judges by."""
        return _written(self.folder / "repeatability.json", Repeatability)

    @cached_property
    def sheet(self) -> Sheet:
        """What the characterisation sheet says."""
        return _written(self.folder / "sheet.json", Sheet)

    @cached_property
    def figures(self) -> Figures:
        """The sheet's figures: title, and the files of picture and data."""
        return _written(self.folder / "figures.json", Figures)


@dataclass(frozen=True, repr=False)
class Results:
    """Results of a run under one method, by `read_results`; folder: the method's."""

    folder: Path

    def __repr__(self) -> str:
        what = f"{counted(len(self.states), 'test')}, {counted(len(self.compounds), 'compound')}"
        return f"<results of method {self.method}: {what}>"

    @property
    def method(self) -> str:
        """The method's id."""
        return self.folder.name

    @cached_property
    def states(self) -> tuple[TestState, ...]:
        """Every test of the archive with its compound, its status and why: archive.json, or without it (a run of one test
        alone writes none) the folders of the tests."""
        found = read_or_none(self.folder / "archive.json", Archive)
        if found is not None:
            return tuple(found.tests)
        names = sorted(path.parent.name for path in self.folder.glob("tests/*/summary.json"))
        summaries = [read(self.folder / "tests" / name / "summary.json", TestSummary) for name in names]
        return tuple(
            TestState(test=name, status="unusable" if one.unusable else "ok", why=one.unusable)
            for name, one in zip(names, summaries, strict=True)
        )

    @cached_property
    def tests(self) -> pl.DataFrame:
        """One row a test: test, compound, status, stops ok, suspect and rejected, drift, window_low_c, window_high_c, why."""
        return pl.DataFrame([self._row(one) for one in self.states], schema=TESTS)

    @property
    def compounds(self) -> list[str]:
        """Compounds as the cards name them."""
        return sorted({one.compound for one in self.states if one.compound})

    @cached_property
    def stops(self) -> pl.DataFrame:
        """Stops of all tests: columns test and compound, then those of stops.parquet."""
        own = [
            self.test(one.test).stops.select(
                pl.lit(one.test).alias("test"), pl.lit(one.compound, pl.String).alias("compound"), pl.all()
            )
            for one in self.states
            if one.status != "unusable"
        ]
        return (
            pl.concat(own, how="diagonal") if own else pl.DataFrame(schema={"test": pl.String, "compound": pl.String})
        )

    def test(self, name: str) -> TestResults:
        """Results of the test with this id. Raises InputError, naming those that there are, where there is none."""
        folder = places.test_in(self.folder, name, [one.test for one in self.states])
        with told(folder):
            own = load(folder, self.folder.parent / "channels" / f"{name}.json")
            return TestResults(**vars(own), found=tuple(findings_in(folder / "findings.json", name)))

    def compound(self, name: str) -> CompoundResults:
        """Results of a compound, named as the cards or as its folder is. Raises InputError where there is none."""
        with told(self.folder):
            return CompoundResults(places.compound_in(self.folder, name))

    def comparison(self, one: str, other: str) -> Comparison:
        """Two compounds side by side, as compare_compounds of the config names them, in either order. Raises InputError
        where the run did not compare them."""
        a, b = (self.compound(name).folder.name for name in (one, other))
        folder = self.folder / "comparisons"
        return _written(
            folder / (f"{b}--{a}" if (folder / f"{b}--{a}").is_dir() else f"{a}--{b}") / "comparison.json", Comparison
        )

    def delta(self, other: str) -> Delta:
        """What the change of method did between this and another, in the order of the config's compare. Raises InputError
        where the run did not compare them."""
        folder = self.folder.parent / "deltas"
        back = folder / f"{other}--{self.method}"
        return _written((back if back.is_dir() else folder / f"{self.method}--{other}") / "delta.json", Delta)

    def _row(self, state: TestState) -> dict[str, object]:
        folder = self.folder / "tests" / state.test
        counts = (read_or_none(folder / "summary.json", TestSummary) or TestSummary(test=state.test)).stops
        drift = read_or_none(folder / "drift.json", TestDrift)
        friction = read_or_none(folder / "friction.json", TestFriction)
        window = friction.window if friction else None
        return {
            "test": state.test,
            "compound": state.compound,
            "status": state.status,
            **counts.model_dump(),
            "drift": drift.verdict if drift else None,
            "window_low_c": window.low_c if window else None,
            "window_high_c": window.high_c if window else None,
            "why": state.why,
        }


TESTS = {
    "test": pl.String(),
    "compound": pl.String(),
    "status": pl.String(),
    "ok": pl.Int64(),
    "suspect": pl.Int64(),
    "rejected": pl.Int64(),
    "drift": pl.String(),
    "window_low_c": pl.Float64(),
    "window_high_c": pl.Float64(),
    "why": pl.String(),
}


def read_results(folder: str | PathLike[str], *, method: str | None = None) -> Results:
    """Results of a run under one of its methods.

    folder: the `results` of the config; method: the method's id, which may be left out where there is one. Nothing is
    read before it is asked for. Raises InputError where the folder holds no such results.
    """
    place = Path(folder)
    with told(place):
        return Results(places.method_in(place.resolve(), method, say="method=..."))


def _written(path: Path, model: type[R]) -> R:
    with told(path):
        if not path.is_file():
            raise InputError(f"{path}: is not there; run the workspace to its end")
        return read(path, model)
