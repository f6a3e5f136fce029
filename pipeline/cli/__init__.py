"""The command line: parse, call, print. The only place with argument parsing.

Exit codes: 0 all well; 3 some test unusable or without a stop of use; 2 wrong call, config or place; 1 a fault of ours
or of the machine; 130, 143, 129 stopped by an interrupt, a termination, a hang-up.
"""

from __future__ import annotations

import errno
import io
import sys
from functools import partial
from pathlib import Path
from typing import Any

from pipeline import faults
from pipeline.archive import seen
from pipeline.archive.scan import printable
from pipeline.cli.engine import noted
from pipeline.cli.lifeline import Stopped, end_with_engine, stoppable
from pipeline.cli.parser import parser
from pipeline.errors import InputError
from pipeline.results import files

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
FOR_PEOPLE = ("run", "check", "design", "docs")


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
        print("stopsheet: stopped; run again to continue", file=sys.stderr)
        return 128 + stop.signal
    except BrokenPipeError:
        return 0


def _carried_out(arguments: list[str]) -> int:
    options = vars(parser().parse_args(arguments))  # argparse itself ends with 2 on a wrong call
    command, name = options.pop("call"), options.pop("name")
    seen.as_planned(options.pop("planned"))
    given = options.pop("given", None)
    if given is not None:
        files.write_only_while(partial(_refuse_outdated, given, options["settings"]))
    try:
        with noted(_told(name, options)):
            return command(**options) or 0
    except InputError as error:
        print(f"stopsheet: {error}", file=sys.stderr)
        return 2
    except OSError as error:
        if name not in FOR_PEOPLE or isinstance(error, BrokenPipeError):
            raise
        print(f"stopsheet: {_refused(error)}", file=sys.stderr)
        return 2 if error.errno in WRONG_PLACE else 1


def _refused(error: OSError) -> str:
    """One line on what the system refused: the place, why, what to do."""
    place = printable(str(error.filename or "the command"))
    if error.errno in WRONG_PLACE:
        return f"{place}: {error.strerror}; correct the path or its permissions"
    return faults.words_of(error, Path(place)) or f"{place}: {error.strerror}; run again"


def _refuse_outdated(given: Path, settings: str) -> None:
    """InputFault where the plan has moved on: results of two methods must not stand side by side."""
    if given.read_text(encoding="utf-8") != settings:
        raise faults.InputFault(f"{given}: the method was edited since this stage was started; run again")


def _told(command: str, options: dict[str, Any]) -> str:
    """A stage and what it works on, for the note that tells of a killed one."""
    subject = options.get("test") or options.get("compound") or options.get("method") or options.get("a") or ""
    return f"{getattr(subject, 'name', subject)}: stage {command}".removeprefix(": ")
