"""A call as somebody typed it: which command it is, and what is wrong in it, in one line."""

from __future__ import annotations

from typing import Any

import typer
from typer.exceptions import TyperException

from pipeline.cli.people import NAME, Work, app
from pipeline.errors import Complaint


def read(arguments: list[str]) -> Work:
    """What the command does. Raises SystemExit with 2 after one line on a wrong call, and with 0 after help."""
    command: Any = typer.main.get_command(app)
    try:
        found = command.main(args=_repeated(arguments), prog_name=NAME, standalone_mode=False)
    except TyperException as error:
        typer.echo(str(wrong_call(error, command)), err=True)
        raise SystemExit(2) from None
    if not callable(found):  # help was wanted
        raise SystemExit(found or 0)
    work: Work = found
    return work


def wrong_call(error: Any, command: Any) -> Complaint:
    """What is wrong in a call; in place of a file stands the command."""
    context: Any = getattr(error, "ctx", None)
    called = context.command_path if context else NAME
    words = " ".join(error.format_message().split()).rstrip(".")
    words = "missing COMMAND" if words == "Missing command" else words[:1].lower() + words[1:]
    wanted = getattr(error, "param", None)
    if called == NAME:
        accepted = f"commands: {', '.join(command.commands)}"
    elif wanted is not None:
        usual = getattr(wanted, "metavar", None) or wanted.name
        accepted = f"{usual}: {getattr(wanted, 'help', None) or 'see its help'}"
    else:
        names = [
            (p.metavar or p.name) if p.param_type_name == "argument" else p.opts[0] for p in context.command.params
        ]
        accepted = f"arguments and options: {', '.join(names)}"
    return Complaint(called, words, accepted, f"see {called} --help")


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
