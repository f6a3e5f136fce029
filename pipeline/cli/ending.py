"""The end of a run, and a plan of one, as people and programs read them: a table on a terminal, lines on a pipe, one JSON document.

All three have the same content. Texts of the archive steer no terminal: whatever is printed goes through `printable`.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from itertools import groupby
from typing import Any, NamedTuple

from pipeline.archive.scan import printable
from pipeline.cli.progress import duration
from pipeline.cli.screen import console
from pipeline.cli.summary import MethodEnd, RunEnd, TestEnd
from pipeline.stages import STAGES
from pipeline.wording import counted
from pipeline.workspace.reasons import NEW
from pipeline.workspace.telling import Job

REDUCES = ("channels", "stops", "friction", "wear", "drift")
#: stages of a test or compound that read what is cut out for it, and what follows from them
CUT_FOR = ("findings", "test_page", "compound", "sheet", "compound_charts", "comparison")
NAMED = 6  # tests or compounds named one by one


class Planned(NamedTuple):
    """What a run would do. up_to_date: stages that are; None where not all was asked for. left_s: seconds by earlier runs."""

    jobs: list[Job]
    up_to_date: int | None
    only: str | None
    left_s: float | None = None


def show(end: RunEnd, *, as_json: bool) -> None:
    """Print the end of a run to the standard output."""
    if as_json:
        print(json.dumps(document(end), indent=2))
        return
    for method in end.methods:
        if sys.stdout.isatty():
            _draw(method)
        else:
            _print(f"{method.method}: {text}" for text in [*_test_lines(method), *_beside(method)])
        _print([f"{method.method}: {_totals(method)}"])
    _print(run_lines(end))


def show_plan(plan: Planned, *, as_json: bool) -> None:
    """Print what would run and why to the standard output."""
    if as_json:
        print(json.dumps(plan_document(plan), indent=2))
    elif sys.stdout.isatty() and plan.jobs:
        draw_table(
            ("stage", "of", "why"), ([(_stage(job), subjects, why) for job, subjects, why in _grouped(plan.jobs)])
        )
        _print([*_further(plan), _plan_total(plan)])
    else:
        _print(plan_lines(plan))


def plan_lines(plan: Planned) -> list[str]:
    """A line for each stage and reason, then what that comes to."""
    lines = [": ".join(filter(None, (_stage(job), subjects, why))) for job, subjects, why in _grouped(plan.jobs)]
    return [*lines, *_further(plan), _plan_total(plan)]


def _further(plan: Planned) -> list[str]:
    more = ", ".join(may_follow(plan))
    return [f"of other tests and compounds, where what they take of the whole archive changes: {more}"] if more else []


def may_follow(plan: Planned) -> list[str]:
    """Stages that may run for further tests and compounds: what is cut out for them is known once it was cut."""
    return [*CUT_FOR] if any(job.stage == "extracts" and job.why != (NEW,) for job in plan.jobs) else []


def run_lines(end: RunEnd) -> list[str]:
    """What ran, what was up to date, what failed and why, and where the log is."""
    stages = Counter(job.stage for job, _ in end.ran)
    names = ", ".join(f"{stage} {stages[stage]}" for stage in STAGES if stages[stage])
    reduced = [job.subject for job, _ in end.ran if job.stage in REDUCES]
    tests = sorted(set(reduced), key=reduced.index)
    lines = [
        f"ran: {counted(len(end.ran), 'stage')} in {duration(end.seconds)}: {names}" if end.ran else "ran: nothing"
    ]
    lines += [f"tests reduced: {_some(tests)}"] if tests else []
    lines += [f"up to date: {counted(end.up_to_date, 'stage')}"] if end.up_to_date else []
    lines += [f"failed: {' of '.join(filter(None, (one.stage, one.subject)))}: {one.why}" for one in end.failed]
    lines += [f"not run: {counted(len(end.not_run), 'stage')} behind what failed"] if end.not_run else []
    if end.only is not None:
        lines.append(f"only {end.only}: run without --only for the index, other pages and comparisons")
    return [*lines, f"log: {end.log}"] if end.log else lines


def document(end: RunEnd) -> dict[str, Any]:
    """The end of a run for programs."""
    return {
        "exit_code": end.code,
        "methods": [
            {
                "method": one.method,
                "page": str(one.page),
                "tests": [_test_document(test) for test in one.tests],
                "skipped": [item.model_dump() for item in one.skipped],
                "left_out": [item.model_dump() for item in one.left_out],
                "left_over": [item.model_dump() for item in one.left_over],
            }
            for one in end.methods
        ],
        "ran": [{**_job(job), "seconds": round(seconds, 3)} for job, seconds in end.ran],
        "seconds": round(end.seconds, 3),
        "up_to_date": end.up_to_date,
        "failed": [one._asdict() for one in end.failed],
        "not_run": [_job(job) for job in end.not_run],
        "only": end.only,
        "log": str(end.log) if end.log else None,
    }


def plan_document(plan: Planned) -> dict[str, Any]:
    """A plan for programs."""
    return {
        "would_run": [_job(job) for job in plan.jobs],
        "may_follow": may_follow(plan),
        "up_to_date": plan.up_to_date,
        "only": plan.only,
        "seconds": plan.left_s,
    }


def _job(job: Job) -> dict[str, Any]:
    return {"stage": job.stage, "subject": job.subject, "method": job.method or None, "why": list(job.why)}


def _test_document(test: TestEnd) -> dict[str, Any]:
    content = asdict(test) | {"worst": test.worst._asdict() if test.worst else None}
    return content | {"stops": test.stops.model_dump() if test.stops else None, "lost": list(test.lost)}


def _test_lines(method: MethodEnd) -> Iterator[str]:
    for test in method.tests:
        if test.stops is None:
            yield f"{test.test}: unusable: {test.why}"
            continue
        counts = f"{test.stops.ok} ok, {test.stops.suspect} suspect, {test.stops.rejected} rejected"
        kept = "a kept table, not reduced here" if test.kept else ""
        verdicts = [f"drift {test.drift}", f"window {test.window}"] if test.state == "of use" else []
        worst = f"worst finding: {test.worst.words}" if test.worst else ""
        words = "; ".join(filter(None, [counts, kept, *verdicts, worst]))
        yield f"{test.test}: {'' if test.state == 'of use' else f'{test.state}: '}{words}"
        yield from (f"{test.test}: {text}" for text in test.lost)


def _beside(method: MethodEnd) -> Iterator[str]:
    """Folders that are no test of the run though they may have been meant as one, and files that are not used."""
    yield from (f"{one.folder}: skipped: {one.why}" for one in method.skipped)
    yield from (f"{one.file}: left out: {one.why.removeprefix(one.file + ': ')}" for one in method.left_out)
    yield from (f"{one.folder}: left over: {one.why}" for one in method.left_over)


def _totals(method: MethodEnd) -> str:
    count = Counter(test.state for test in method.tests)
    told = [f"{counted(len(method.tests), 'test')}, {count['of use']} of use"]
    told += [f"{count['no stop of use']} without a stop of use"] if count["no stop of use"] else []
    told += [f"{count['unusable']} unusable"] if count["unusable"] else []
    others = [f"{counted(len(method.skipped), 'folder')} skipped"] if method.skipped else []
    others += [f"{counted(len(method.left_out), 'file')} left out"] if method.left_out else []
    others += [f"{counted(len(method.left_over), 'folder')} left over"] if method.left_over else []
    return "; ".join(filter(None, (", ".join(told), ", ".join(others), f"open {method.page}")))


def _draw(method: MethodEnd) -> None:
    """The table of one method, and lines below it on what no row can hold."""
    heads = ("test", "ok", "suspect", "rejected", "drift", "window", "worst finding")
    draw_table(heads, [_row(test) for test in method.tests], right=(1, 2, 3))
    lost = [f"{test.test}: {text}" for test in method.tests for text in test.lost]
    _print(f"{method.method}: {text}" for text in [*lost, *_beside(method)])


def _row(test: TestEnd) -> tuple[str, ...]:
    if test.stops is None:
        return (test.test, "", "", "", "unusable", "", test.why or "")
    counts = (str(test.stops.ok), str(test.stops.suspect), str(test.stops.rejected))
    kept = "a kept table, not reduced here" if test.kept else ""
    worst = "; ".join(filter(None, (kept, test.worst.words if test.worst else "")))
    return (test.test, *counts, test.drift or test.state, test.window or "", worst or "none")


def draw_table(heads: tuple[str, ...], rows: Iterable[tuple[str, ...]], right: tuple[int, ...] = ()) -> None:
    """A table on the terminal; right: columns of numbers."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for number, head in enumerate(heads):
        table.add_column(head, justify="right" if number in right else "left", overflow="fold")
    for row in rows:
        table.add_row(*(Text(printable(cell)) for cell in row))
    console(sys.stdout).print(table)


def _grouped(jobs: list[Job]) -> Iterator[tuple[Job, str, str]]:
    """(a job, whom it and its like work on, why): jobs of one stage and method with the same reasons together."""
    for _, like in groupby(sorted(jobs, key=_alike(jobs)), key=_alike(jobs)):
        group = list(like)
        yield group[0], _some([job.subject for job in group if job.subject]), "; ".join(group[0].why)


def _alike(jobs: list[Job]) -> Any:
    """Sort key: the stages in their order, then method and reasons."""
    place = {stage: number for number, stage in enumerate(dict.fromkeys(job.stage for job in jobs))}
    return lambda job: (place[job.stage], job.method, job.why)


def _stage(job: Job) -> str:
    return f"{job.method}: {job.stage}" if job.method else job.stage


def _plan_total(plan: Planned) -> str:
    ready = f"; {counted(plan.up_to_date, 'stage')} up to date" if plan.up_to_date is not None else ""
    what = f"for {plan.only} " if plan.only is not None else ""
    time = f" in about {duration(plan.left_s)}" if plan.left_s and plan.jobs else ""
    return (
        f"{what}{counted(len(plan.jobs), 'stage') if plan.jobs else 'nothing'} would run{time}{ready}; nothing was run"
    )


def _some(names: list[str]) -> str:
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    return ", ".join(names[:NAMED]) + more


def _print(lines: Iterable[str]) -> None:
    for text in lines:
        print(printable(text))
