"""The commands that people type: their options and help. What they do stands in `workspace` and `design`.

A command is read here and carried out by the caller, so that its faults are told as those of every other command.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.exceptions import TyperException

from pipeline.stages import STAGES

Work = Callable[[], int | None]


def _count(text: str) -> int:
    try:
        return int(text)
    except ValueError:
        raise typer.BadParameter(f"{text!r} is not a whole number") from None


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise typer.BadParameter(f"{text!r} is not a number") from None


NAME = "stopsheet"
app = typer.Typer(
    name=NAME,
    help="From stop recordings to a characterisation sheet.",
    epilog="Results support engineering judgement; the brake's release authority decides. A run calls one command for each "
    f"stage, each with a --help of its own: {', '.join(STAGES)}.",
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


@app.command(help="Everything: from a workspace's config to its sheets.")
def run(
    config: Annotated[Path, typer.Argument(metavar="config", help="config.yaml of the workspace")],
    cores: Annotated[
        int | None, typer.Option(parser=_count, metavar="CORES", help="processor cores to use (default: all)")
    ] = None,
) -> Work:
    from pipeline.cli import workspace

    return partial(workspace.run, config=config, cores=cores)


@app.command(help="Validate a config or an archive folder without reducing it.")
def check(place: Annotated[Path, typer.Argument(metavar="CONFIG_OR_ARCHIVE")]) -> Work:
    from pipeline.cli import workspace

    return partial(workspace.check, place=place)


@app.command(help="What a planned test's wear readings could tell, from its test.yaml.")
def design(
    test: Annotated[Path, typer.Argument(metavar="TEST_FOLDER")],
    read_after: Annotated[
        list[str] | None,
        typer.Option(metavar="BLOCK ...", help="blocks after which wear is read (default: all)"),
    ] = None,
    reading_u_um: Annotated[
        float, typer.Option(parser=_number, metavar="NUMBER", help="standard uncertainty of a reading's mean, um")
    ] = 1.0,
    mu: Annotated[
        float, typer.Option(parser=_number, metavar="NUMBER", help="friction assumed for brake times and distances")
    ] = 0.4,
    as_json: Annotated[bool, typer.Option("--json", help="print JSON")] = False,
) -> Work:
    from pipeline.cli.design import design

    return partial(design, test=test, read_after=read_after or None, reading_u_um=reading_u_um, mu=mu, as_json=as_json)


@app.command(help="Write the generated pages: settings, tables, findings, results and their schemas.")
def docs(into: Annotated[Path, typer.Option(help="folder to write to")]) -> Work:
    from pipeline.cli import workspace

    return partial(workspace.docs, into=into)


def read(arguments: list[str]) -> Work:
    """What the command does. Raises SystemExit with 2 after one line on a wrong call, and with 0 after help."""
    command: Any = typer.main.get_command(app)
    try:
        found = command.main(args=_repeated(arguments), prog_name=NAME, standalone_mode=False)
    except TyperException as error:
        context: Any = getattr(error, "ctx", None)
        called = context.command_path if context else NAME
        raise SystemExit(_refused(called, error.format_message())) from None
    if not callable(found):  # help was wanted
        raise SystemExit(found or 0)
    work: Work = found
    return work


def _refused(called: str, message: str) -> int:
    words = " ".join(message.split()).rstrip(".")
    words = "missing COMMAND" if words == "Missing command" else words[:1].lower() + words[1:]
    typer.echo(f"{called}: {words}; see {called} --help", err=True)
    return 2


def _repeated(arguments: list[str]) -> list[str]:
    """--read-after takes one block or several in a row; the parser, one each time that it is given."""
    flag, given, inside = "--read-after", [], False
    for argument in arguments:
        if argument == flag:
            inside = True
        elif inside and not argument.startswith("-"):
            given += [flag, argument]
        else:
            inside = False
            given.append(argument)
    return [*given, flag] if arguments[-1:] == [flag] else given
