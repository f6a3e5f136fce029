"""`stopsheet check`: what is wrong, a line each, then a table by test; on a pipe lines, for programs one JSON document."""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from pipeline.archive.scan import printable
from pipeline.errors import InputError
from pipeline.wording import counted
from pipeline.workspace.check import Checked, checked_place
from pipeline.workspace.check_of_test import Problem, TestLook, complaints_of

ALL_WELL, WRONG_CALL, UNUSABLE = 0, 2, 3


def check(place: Path, *, as_json: bool = False) -> int:
    """Print the problems of a config file or an archive folder, then a summary; returns the exit code."""
    try:
        checked = checked_place(place)
    except InputError as error:
        if as_json:
            said = [asdict(one) for one in complaints_of(error, "")]
            print(json.dumps({"exit_code": WRONG_CALL, "error": str(error), "complaints": said}, indent=2))
        else:
            for text in said_one_by_one(error):
                print(printable(f"stopsheet: {text}"))
        return WRONG_CALL
    code = UNUSABLE if any(problem.level == "unusable" for problem in checked.problems) else ALL_WELL
    if as_json:
        print(json.dumps(document(checked, code), indent=2))
        return code
    for problem in checked.problems:
        print(printable(f"{problem.where}: {problem.level.replace('_', ' ')}: {problem.message}"))
    if sys.stdout.isatty():
        _draw(checked.looks)
    else:
        for look in checked.looks:
            print(printable(f"{look.test}: {words_of(look)}"))
    print(_total(checked))
    return code


def said_one_by_one(error: InputError) -> list[str]:
    """The lines of an error, each with its file."""
    return [str(one) for one in error.complaints] or [str(error)]


def document(checked: Checked, code: int) -> dict[str, Any]:
    """What was found, for programs."""
    return {
        "exit_code": code,
        "tests": [
            {
                "test": look.test,
                "recordings": look.recordings,
                "heads": look.heads,
                "counted": look.counted,
                "brakings": look.found,
                "scheduled": look.scheduled,
                "channels": list(look.channels),
                "worst": _problem(look.worst) if look.worst else None,
                "problems": [_problem(one) for one in look.problems],
            }
            for look in checked.looks
        ],
        "beside": [_problem(one) for one in checked.beside],
    }


def words_of(look: TestLook) -> str:
    """One test in a line."""
    channels = f"{len(look.channels)} channels" if look.channels else ""
    worst = f"worst complaint: {look.worst.level.replace('_', ' ')}" if look.worst else "no complaint"
    return ", ".join(filter(None, (counted(look.recordings, "recording"), brakings(look), channels, worst)))


def brakings(look: TestLook) -> str:
    """Brakings found and scheduled, and in how much of the test they were looked for."""
    if look.scheduled is None:
        return ""
    if look.found is None:
        return f"{counted(look.scheduled, 'stop')} scheduled"
    part = "" if look.counted >= look.recordings else f" in {look.counted} of them"
    return f"{counted(look.found, 'braking')} found{part}, {look.scheduled} scheduled"


def _problem(problem: Problem) -> dict[str, Any]:
    return {"where": problem.where, "level": problem.level, **asdict(problem.complaint), "text": problem.message}


def _total(checked: Checked) -> str:
    levels = Counter(problem.level for problem in checked.problems)
    unusable = len({p.where.split("/")[0] for p in checked.problems if p.level == "unusable"})
    looked = "" if checked.heads >= checked.recordings else f" (the heads of {checked.heads} looked at)"
    return (
        f"{counted(len(checked.looks), 'test')}, {counted(checked.recordings, 'recording')}{looked}: {unusable} unusable, "
        f"{counted(levels['left_out'] + levels['odd'], 'other problem')}"
    )


def _draw(looks: Iterable[TestLook]) -> None:
    from pipeline.cli.ending import draw_table

    heads = ("test", "recordings", "brakings", "scheduled", "channels", "worst complaint")
    draw_table(heads, [_row(look) for look in looks], right=(1, 2, 3, 4))


def _row(look: TestLook) -> tuple[str, ...]:
    found = "" if look.found is None else str(look.found)
    part = "" if look.found is None or look.counted >= look.recordings else f" in {look.counted}"
    worst = f"{look.worst.level.replace('_', ' ')}: {look.worst.complaint.found}" if look.worst else "none"
    planned = "" if look.scheduled is None else str(look.scheduled)
    return (look.test, str(look.recordings), f"{found}{part}", planned, str(len(look.channels) or ""), worst)
