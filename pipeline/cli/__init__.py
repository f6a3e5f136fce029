"""The command line: a stage's sub-command by the table of stages, every other as people type it.

Exit codes: 0 all well; 3 some test unusable or without a stop of use; 4 a watch said "stop and look"; 2 wrong call, config
or place; 1 a fault of ours or of the machine; 130, 143, 129 stopped by an interrupt, a termination, a hang-up.
"""

from __future__ import annotations

import errno
import io
import sys
from functools import partial
from pathlib import Path

from pipeline import faults
from pipeline.cli.lifeline import SAID_WHEN_STOPPED, Stopped, end_with_engine, stoppable
from pipeline.errors import InputError
from pipeline.stage_row import Stage
from pipeline.stages import STAGES

# Of the system's refusals, those that say that the place named is the wrong one; the others are faults of the machine.
WRONG_PLACE = frozenset(
    (
        errno.EACCES,
        errno.EPERM,
        errno.EROFS,
        errno.ENOENT,
        errno.ENOTDIR,
        errno.EISDIR,
        errno.EEXIST,
        errno.ENAMETOOLONG,
        errno.ELOOP,
    )
)
SEEN = "--seen="  # the folder of the lists of files as the run saw them: what a stage reads is held against them


def run(arguments: list[str]) -> int:
    """Carry out one command and return its exit code."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a terminal that lacks a letter gets its code instead
    try:
        with stoppable():
            end_with_engine()
            return _carried_out(arguments)
    except Stopped as stop:
        print(SAID_WHEN_STOPPED, file=sys.stderr)
        return 128 + stop.signal
    except BrokenPipeError:
        return 0


def _carried_out(arguments: list[str]) -> int:
    lists = Path(arguments[0].removeprefix(SEEN)) if arguments[:1] and arguments[0].startswith(SEEN) else None
    name, *rest = arguments[lists is not None :] or [""]
    try:
        if name in STAGES and not (name == "delta" and compares_results(rest)):
            _stage(STAGES[name], rest, lists)
            return 0
        return _for_people(arguments)
    except InputError as error:
        print(f"stopsheet: {error}", file=sys.stderr)
        return 2


def compares_results(rest: list[str]) -> bool:
    """Whether `delta` is meant as people type it: asked for help, or with two results folders (a stage's options hold their values)."""
    return set(rest) <= {"-h", "--help"} or any(not argument.startswith("-") for argument in rest)


def _stage(stage: Stage, arguments: list[str], lists: Path | None) -> None:
    from pipeline.cli import stages

    options, given = stages.parsed(stage, arguments)
    from pipeline.cli.notes import noted
    from pipeline.inputs import seen
    from pipeline.results import files

    seen.hold_against(lists)
    if given is not None:
        files.write_only_while(partial(_refuse_outdated, given, options["settings"]))
    with noted(f"{stages.subject(stage, options)}: stage {stage.name}", options["into"]):
        stages.call(stage, options)


def _for_people(arguments: list[str]) -> int:
    from pipeline.cli import calls

    work = calls.read(arguments)
    try:
        return work() or 0
    except BrokenPipeError:
        raise
    except OSError as error:
        print(f"stopsheet: {_refused(error)}", file=sys.stderr)
        return 2 if error.errno in WRONG_PLACE else 1


def _refused(error: OSError) -> str:
    """One line on what the system refused: the place, why, what to do."""
    from pipeline.archive.scan import printable

    place = printable(str(error.filename or "the command"))
    if error.errno in WRONG_PLACE:
        return f"{place}: {error.strerror}; correct the path or its permissions"
    return faults.words_of(error, Path(place)) or f"{place}: {error.strerror}; run again"


def _refuse_outdated(given: Path, settings: str) -> None:
    """InputFault where the run has moved on: results of two methods must not stand side by side."""
    if given.read_text(encoding="utf-8") != settings:
        raise faults.InputFault(f"{given}: the method was edited since this stage was started; run again")
