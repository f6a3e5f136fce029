"""The page of the command line, from the commands themselves: how each is called, what it takes, what it does.

Arguments and options come from the same table that reads them (`people.app`), the stages from `pipeline.stages`; a test
holds docs/command_line.md against this.
"""

from __future__ import annotations

from typing import Any

from typer.main import get_command

from pipeline.cli.people import NAME, app
from pipeline.report.reference_pages import NOTE
from pipeline.stages import STAGES

PAGE = "command_line.md"

OPENING = f"""{NOTE}
# Command line

What each command takes and does. Nothing is asked while a command works, so that it can stand in a script; `--help` says the same on a terminal.

Exit codes of all commands: 0 all well; 3 done, and something in the data cannot be used or answered (the command says which); 4 a watch said *stop and look*; 2 wrong
call, config or place; 1 a fault of ours or of the system, told in one line; 130, 143, 129 stopped by an
interrupt, a termination, a hang-up. What `run` prints stands in [running.md](running.md), what `inspect` and `new-test` do in [inspecting.md](inspecting.md).
"""

STAGES_OPENING = f"""## The stages of a run

`run` calls one command for each stage, one test or compound at a time. They are the workflow's and not meant to be typed; each has a
`--help` (`{NAME} stops --help`).

| stage | does | writes, in its folder of the results |
|---|---|---|"""


def command_page() -> str:
    """The whole page."""
    group: Any = get_command(app)
    lines = [OPENING]
    for name, command in group.commands.items():
        lines += [
            f"## {name}\n",
            f"    {_called(name, command)}\n",
            f"{_words(command.help)}\n",
            *_parameters(command),
            "",
        ]
    lines.append(STAGES_OPENING)
    for stage in STAGES.values():
        written = ", ".join(f"`{path}`" for path in stage.outputs)
        lines.append(f"| `{stage.name}` | {_words(stage.about)} | {written} |")
    return "\n".join(lines) + "\n"


def _called(name: str, command: Any) -> str:
    given = [_named(one) for one in command.params if _is_argument(one)]
    needed = [f"{one.opts[0]} {one.metavar}" for one in command.params if one.required and not _is_argument(one)]
    free = any(not one.required and not _is_argument(one) for one in command.params)
    return " ".join([NAME, name, *given, *needed, *(["[options]"] if free else [])])


def _parameters(command: Any) -> list[str]:
    if not command.params:
        return []
    rows = []
    for one in command.params:
        said = (
            _named(one) if _is_argument(one) else " ".join([one.opts[0], *([] if one.is_flag else [one.metavar or ""])])
        )
        rows.append(f"| `{_words(said)}` | {_default(one)} | {_words(one.help)} |")
    return ["| argument or option | default | meaning |", "|---|---|---|", *rows]


def _named(argument: Any) -> str:
    return str(argument.metavar or argument.name.upper())


def _is_argument(parameter: Any) -> bool:
    return parameter.param_type_name == "argument"


def _default(parameter: Any) -> str:
    if parameter.required:
        return "needed"
    if parameter.default in (None, False) or callable(parameter.default):
        return ""
    return f"`{parameter.default:g}`" if isinstance(parameter.default, float) else f"`{parameter.default}`"


def _words(text: str | None) -> str:
    return " ".join((text or "").split()).replace("|", "\\|")
