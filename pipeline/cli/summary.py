"""What a run came to: each test with its stops, verdicts and worst finding; what ran and what failed; the exit code.

A run ends with 0 only where every test is of use. A test whose recordings were read but whose stops are all suspect or
rejected (a wrong unit, a wrong inertia) is no more of use than one that cannot be read, and it gets no verdict.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, NamedTuple

from pipeline.findings import RANK
from pipeline.results.archive import Archive, LeftOut, LeftOver, Skipped, TestState
from pipeline.results.fault import Fault
from pipeline.results.findings import Found
from pipeline.results.model import read
from pipeline.results.summary import StopCounts
from pipeline.workspace.telling import Job

UNUSABLE, OUR_FAULT = 3, 1
State = Literal["of use", "no stop of use", "unusable"]


class Worst(NamedTuple):
    """The most frequent code of the worst severity, with its first message."""

    severity: str
    code: str
    times: int
    message: str

    @property
    def words(self) -> str:
        often = f" ({self.times} times)" if self.times > 1 else ""
        return f"{self.severity}, {self.code}{often}, {self.message}"


@dataclass(frozen=True)
class TestEnd:
    """One test under one method. kept: a table of reduced rows, not reduced here; lost: what is not given beside it."""

    __test__ = False  # not a test class, whatever its name says to a test collector

    test: str
    compound: str | None
    state: State
    why: str | None = None
    stops: StopCounts | None = None
    kept: bool = False
    drift: str | None = None
    window: str | None = None
    worst: Worst | None = None
    lost: tuple[str, ...] = ()


@dataclass(frozen=True)
class MethodEnd:
    """All tests under one method, what lies beside them in the archive, and the page to open."""

    method: str
    page: Path
    tests: list[TestEnd]
    skipped: list[Skipped]
    left_out: list[LeftOut]
    left_over: list[LeftOver]


class Failed(NamedTuple):
    """A stage that gave no result, or whose result carries a fault."""

    stage: str
    subject: str
    why: str


@dataclass(frozen=True)
class RunEnd:
    """A whole run. up_to_date: stages that were; None where that was not asked. only: the one test that was asked for."""

    methods: list[MethodEnd]
    ran: list[tuple[Job, float]]
    seconds: float
    up_to_date: int | None
    failed: list[Failed]
    not_run: list[Job]
    log: Path | None
    code: int
    only: str | None = None


def method_end(root: Path, suspect_too: bool, archive: Archive | None = None, page: Path | None = None) -> MethodEnd:
    """The end of one method from its results folder; `suspect_too`: its models take suspect stops.

    `archive`, `page`: instead of archive.json and the index of that folder. Raises OSError where there is none.
    """
    archive = read(root / "archive.json", Archive) if archive is None else archive
    tests = [_test_end(row, root / "tests" / row.test, suspect_too) for row in archive.tests]
    named = {row.test for row in archive.tests}
    skipped = [one for one in archive.skipped if one.folder not in named]
    return MethodEnd(root.name, page or root / "index.html", tests, skipped, archive.left_out, archive.left_over)


def exit_code(methods: Iterable[MethodEnd], faults: Collection[Fault]) -> int:
    states = {test.state for method in methods for test in method.tests}
    return OUR_FAULT if faults else UNUSABLE if states - {"of use"} else 0


def failures(faults: Iterable[Fault], jobs: Iterable[Job], said: Collection[str]) -> list[Failed]:
    """What failed and why: faults that results carry, then stages that ended without results, by what they said.

    said: the stages' lines, each with whom it is about first.
    """
    found = {(fault.stage, fault.subject): Failed(fault.stage, fault.subject, fault.why) for fault in faults}
    for job in jobs:
        about = [line.partition(": ")[2] for line in said if f": stage {job.stage}" in line]
        own = [words for words in about if words.startswith(f"{job.subject or job.stage}: ")] or about
        why = (
            own[0].partition(f"stage {job.stage}")[2].strip(": ")
            if own
            else "ended before it could say why; the log may"
        )
        found.setdefault((job.stage, job.subject), Failed(job.stage, job.subject, why))
    return list(found.values())


def _test_end(row: TestState, folder: Path, suspect_too: bool) -> TestEnd:
    from pipeline.report.index_page import drift_words, of_use, window_words
    from pipeline.report.per_test_findings import drift_of, findings_in, friction_of, summary_of

    if row.status == "unusable":
        return TestEnd(row.test, row.compound, "unusable", row.why)
    counts = summary_of(folder).stops
    findings = findings_in(folder / "findings.json", row.test)
    lost = [item for item in findings if item.code == "wear_file_invalid"]
    usable = of_use(counts, suspect_too)
    return TestEnd(
        row.test,
        row.compound,
        "of use" if usable else "no stop of use",
        row.why,
        counts,
        kept=row.status == "summary",
        drift=drift_words(drift_of(folder)) if usable else None,
        window=window_words(friction_of(folder)) if usable else None,
        worst=_worst([item for item in findings if item not in lost]),
        lost=tuple(f"wear is not given: {item.message}" for item in lost),
    )


def _worst(findings: list[Found]) -> Worst | None:
    """None where all is information."""
    rank = max((RANK[item.severity] for item in findings), default=0)
    if rank == RANK["info"]:
        return None
    worst = [item for item in findings if RANK[item.severity] == rank]
    (code, times), *_ = Counter(item.code for item in worst).most_common(1)
    first = next(item for item in worst if item.code == code)
    return Worst(first.severity, code, times, first.message)
