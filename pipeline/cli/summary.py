"""What `stopsheet run` says at its end: a line per test, what was skipped, and the exit code that follows.

A run ends with 0 only where every test is of use. A test whose recordings were read but whose stops are all suspect or
rejected (a wrong unit, a wrong inertia) is no more of use than one that cannot be read, and its line gives no verdict.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import NamedTuple

from pipeline.archive.scan import printable
from pipeline.findings import RANK
from pipeline.results.archive import Archive, TestState
from pipeline.results.fault import Fault
from pipeline.results.findings import Found
from pipeline.results.model import read

UNUSABLE, OUR_FAULT = 3, 1


class Said(NamedTuple):
    """One test in words; `state` is of use, empty (no stop of use) or unusable."""

    state: str
    lines: list[str]


def outcome(
    results: Path, use_suspect: Mapping[str, bool], faults: Collection[Fault] = (), said: Collection[str] = ()
) -> int:
    """Print the end of a run and return its exit code.

    `use_suspect`: method -> whether its models take suspect stops; `faults`: those that the results carry; `said`:
    lines that the user has seen.
    """
    states: set[str] = set()
    for method, suspect_too in use_suspect.items():
        root = results / method
        archive = read(root / "archive.json", Archive)
        tests = [_said(row, root / "tests" / row.test, suspect_too) for row in archive.tests]
        states |= {test.state for test in tests}
        for text in [
            *(line for test in tests for line in test.lines),
            *_beside(archive),
            _totals(tests, archive, root),
        ]:
            print(printable(f"{method}: {text}"))  # texts of the archive steer no terminal
    for text in dict.fromkeys(printable(f"stopsheet: {fault.subject}: {fault.why}") for fault in faults):
        if text not in said:
            print(text, file=sys.stderr)
    return OUR_FAULT if faults else UNUSABLE if states - {"of use"} else 0


def _said(row: TestState, folder: Path, suspect_too: bool) -> Said:
    from pipeline.report.index_page import of_use
    from pipeline.report.per_test_findings import findings_in, summary_of

    test = row.test
    if row.status == "unusable":
        return Said("unusable", [f"{test}: unusable: {row.why}"])
    counts = summary_of(folder).stops
    stops = f"{counts.ok} ok, {counts.suspect} suspect, {counts.rejected} rejected"
    findings = findings_in(folder / "findings.json", test)
    lost = [item for item in findings if item.code == "wear_file_invalid"]
    usable = of_use(counts, suspect_too)
    kept = ["a kept table, not reduced here"] if row.status == "summary" else []
    verdicts = _verdicts(folder) if usable else []
    words = "; ".join([stops, *kept, *verdicts, *_worst([item for item in findings if item not in lost])])
    further = [f"{test}: wear is not given: {item.message}" for item in lost]
    return Said("of use" if usable else "empty", [f"{test}: {'' if usable else 'no stop of use: '}{words}", *further])


def _verdicts(folder: Path) -> list[str]:
    """Drift and window in the words of the index page."""
    from pipeline.report.index_page import drift_words, window_words
    from pipeline.report.per_test_findings import drift_of, friction_of

    return [
        f"drift {drift_words(drift_of(folder))}",
        f"window {window_words(friction_of(folder))}",
    ]


def _worst(findings: list[Found]) -> list[str]:
    """The most frequent code of the worst severity, with its first message; nothing where all is information."""
    rank = max((RANK[item.severity] for item in findings), default=0)
    if rank == RANK["info"]:
        return []
    worst = [item for item in findings if RANK[item.severity] == rank]
    (code, times), *_ = Counter(item.code for item in worst).most_common(1)
    first = next(item for item in worst if item.code == code)
    often = f" ({times} times)" if times > 1 else ""
    return [f"worst: {first.severity}, {code}{often}, {first.message}"]


def _beside(archive: Archive) -> list[str]:
    """Folders that are no test of the run though they may have been meant as one, and files that are not used."""
    tests = {row.test for row in archive.tests}
    skipped = [f"{one.folder}: skipped: {one.why}" for one in archive.skipped if one.folder not in tests]
    return skipped + [f"{one.file}: left out: {one.why.removeprefix(one.file + ': ')}" for one in archive.left_out]


def _totals(tests: list[Said], archive: Archive, root: Path) -> str:
    count = Counter(test.state for test in tests)
    told = [f"{_number(len(tests), 'test')}, {count['of use']} of use"]
    told += [f"{count['empty']} without a stop of use"] if count["empty"] else []
    told += [f"{count['unusable']} unusable"] if count["unusable"] else []
    others = [f"{_number(len(archive.skipped), 'folder')} skipped"] if archive.skipped else []
    others += [f"{_number(len(archive.left_out), 'file')} left out"] if archive.left_out else []
    return "; ".join(part for part in (", ".join(told), ", ".join(others), f"open {root / 'index.html'}") if part)


def _number(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"
