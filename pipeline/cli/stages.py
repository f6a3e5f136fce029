"""A stage's sub-command: its options read and its parts called, guarded, as the table of stages says.

Stages are started thousands of times in a run: nothing is imported here that a stage does not need.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any, NoReturn

from pipeline.stage_row import Option, Part, Stage


class _Parser(argparse.ArgumentParser):
    """Says of a wrong call what is wrong in one line, without the usage of all options before it."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {message}; see {self.prog} --help\n")


def parsed(stage: Stage, arguments: list[str]) -> tuple[dict[str, Any], Path | None]:
    """(arguments of the stage's calls, file with the run's settings); a wrong call ends with 2 and one line."""
    parser = _Parser(prog=f"stopsheet {stage.name}", description=stage.about, allow_abbrev=False)
    for option in stage.options:
        _add(parser, option)
    if stage.asks:
        parser.add_argument("--given", type=Path, default=None, help="file with the run's settings while they hold")
    options = vars(parser.parse_args(arguments))
    return options, options.pop("given", None)


def _add(parser: argparse.ArgumentParser, option: Option) -> None:
    kind: Callable[[str], Any] = Path if option.path else str
    how: dict[str, Any] = {"dest": option.argument, "metavar": option.flag.upper(), "help": option.about}
    if option.many:
        parser.add_argument(f"--{option.flag}", nargs="*", type=kind, default=[], **how)
    elif option.required:
        parser.add_argument(f"--{option.flag}", type=kind, required=True, **how)
    else:
        parser.add_argument(f"--{option.flag}", type=lambda text: kind(text) if text else None, default=None, **how)


def subject(stage: Stage, options: Mapping[str, Any]) -> str:
    """Whom the stage works on."""
    return stage.subject.format(**_names(options))


def _names(options: Mapping[str, Any]) -> dict[str, Any]:
    return {**options, "test": options["folder"].name} if "folder" in options else dict(options)


def call(stage: Stage, options: Mapping[str, Any]) -> None:
    """Call every part of the stage. Heavy imports stand inside the guard: a fault there is the stage's as well."""
    from pipeline.cli.guard import guarded

    once, names = cache(lambda: _function(stage.once)(**options)), _names(options)
    for part in stage.parts:
        outputs = [options["into"] / name.format(**names) for name in part.outputs]
        guarded(
            stage.name,
            (part.subject or stage.subject).format(**names),
            outputs,
            _called(part, options, once if stage.once else None, outputs),
            carried=None if part.carries else [],
        )


def _called(
    part: Part, options: Mapping[str, Any], once: Callable[[], Any] | None, outputs: list[Path]
) -> Callable[[], Any]:
    if once is not None:
        return lambda: _function(part.call)(once(), *outputs)
    taken = options if part.takes is None else {name: options[name] for name in part.takes}
    return lambda: _function(part.call)(**taken)


def _function(place: str) -> Callable[..., Any]:
    module, name = place.split(":")
    found: Callable[..., Any] = getattr(import_module(module), name)
    return found
