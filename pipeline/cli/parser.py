"""Sub-commands and their options. Each stage's rule in the Snakefile calls the sub-command of its name."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any, NoReturn

from pipeline.cli import stages, workspace
from pipeline.cli.design import design

EPILOG = "Results support engineering judgement; the brake's release authority decides."


class _Parser(argparse.ArgumentParser):
    """Says of a wrong call what is wrong in one line, without the usage of all options before it."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {message}; see {self.prog} --help\n")


def parser() -> argparse.ArgumentParser:
    """The whole command line."""
    top = _Parser(prog="stopsheet", description="From stop recordings to a characterisation sheet.", epilog=EPILOG)
    # Where the plan's lists of files are: what a stage reads is held against them.
    top.add_argument("--planned", type=Path, default=None, help=argparse.SUPPRESS)
    commands = top.add_subparsers(required=True, metavar="COMMAND")
    _for_people(commands)
    _per_test(commands)
    _across_tests(commands)
    return top


def _command(commands: Any, name: str, call: Any, text: str) -> argparse.ArgumentParser:
    command = commands.add_parser(name, help=text, description=text)
    command.set_defaults(call=call, name=name)
    return command


def _paths(command: argparse.ArgumentParser, *flags: str, **how: Any) -> None:
    for flag in flags:
        command.add_argument(flag, type=Path, required=True, **how)


def _settings(command: argparse.ArgumentParser) -> None:
    command.add_argument("--settings", required=True)
    command.add_argument("--given", type=Path, default=None, help="file with the plan's settings while they hold")


def _for_people(commands: Any) -> None:
    command = _command(commands, "run", workspace.run, "everything: from a workspace's config to its sheets")
    command.add_argument("config", type=Path, help="config.yaml of the workspace")
    command.add_argument("--cores", type=int, default=None, help="processor cores to use (default: all)")
    command = _command(commands, "check", workspace.check, "validate a config or an archive folder without reducing it")
    command.add_argument("place", type=Path, metavar="CONFIG_OR_ARCHIVE")
    command = _command(commands, "design", design, "what a planned test's wear readings could tell, from its test.yaml")
    command.add_argument("test", type=Path, metavar="TEST_FOLDER")
    command.add_argument(
        "--read-after", nargs="+", metavar="BLOCK", help="blocks after which wear is read (default: all)"
    )
    command.add_argument("--reading-u-um", type=float, default=1.0, help="standard uncertainty of a reading's mean, um")
    command.add_argument("--mu", type=float, default=0.4, help="friction assumed for brake times and distances")
    command.add_argument("--json", dest="as_json", action="store_true", help="print JSON")
    command = _command(
        commands,
        "docs",
        workspace.docs,
        "write the generated pages: settings, tables, findings, results and their schemas",
    )
    command.add_argument("--into", type=Path, required=True)


def _per_test(commands: Any) -> None:
    command = _command(commands, "channels", stages.channels, "raw recordings -> canonical channels")
    _paths(command, "--test", "--channels", "--record")
    command.add_argument("--fingerprint", default="", help="of the test's files as planned")
    command.add_argument("--wear", default=None, help="the test's wear file, which this stage does not read")
    command = _command(commands, "stops", stages.stops, "channels -> one row per stop")
    _paths(command, "--test", "--channels", "--record", "--into")
    _settings(command)
    for name, call, text in (
        ("friction", stages.friction, "friction map and window of one test"),
        ("wear", stages.wear, "wear intervals and laws of one test"),
        ("drift", stages.drift, "drift of one test and its verdict"),
    ):
        command = _command(commands, name, call, text)
        _paths(command, "--test", "--into")
        _settings(command)
        if name == "friction":
            command.add_argument("--target", type=Path)
        if name == "drift":
            command.add_argument("--repeatability", type=Path)
    command = _command(commands, "findings", stages.findings, "findings of all stages of one test, merged")
    _paths(command, "--test", "--record", "--rigs", "--into")
    command.add_argument("--method", required=True)
    command.add_argument(
        "--renamed", default=None, help="folder name that the compound got to keep it apart from another"
    )
    command = _command(commands, "test_page", stages.test_page, "interactive page of one test")
    _paths(command, "--test", "--record", "--rigs", "--into")
    command.add_argument("--method", required=True)
    _settings(command)


def _across_tests(commands: Any) -> None:
    command = _command(commands, "rigs", stages.rigs, "shifts shared by all specimens of a rig")
    _paths(command, "--archive", "--results", "--out")
    command.add_argument("--rigs", type=Path, nargs="*", default=[])
    _settings(command)
    for name, call, text in (
        ("repeatability", stages.repeatability, "pooled scatter of a compound's stops"),
        ("compound", stages.compound, "friction, wear, batches and duty of a compound"),
        ("sheet", stages.sheet, "material characterisation sheet of a compound"),
    ):
        command = _command(commands, name, call, text)
        _paths(command, "--archive", "--results", "--into")
        command.add_argument("--compound", required=True)
        command.add_argument("--tests", nargs="*", default=[])
        _settings(command)
        if name != "repeatability":
            command.add_argument("--target", type=Path)
        if name == "compound":
            command.add_argument("--rigs", type=Path, required=True)
            command.add_argument("--duties", type=Path, nargs="*", default=[])
        if name == "sheet":
            command.add_argument("--method", required=True)
    command = _command(commands, "index", stages.index, "index page, archive.json and method.yaml of a method")
    _paths(command, "--config", "--into")
    _settings(command)
    command.add_argument("--method", required=True)
    command = _command(commands, "delta", stages.delta, "what a change of method did")
    _paths(command, "--config", "--into")
    command.add_argument("--a", required=True)
    command.add_argument("--b", required=True)
