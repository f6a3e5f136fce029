"""The table of stages holds: its sub-commands, their calls, the Snakefile's rules and the method's sections agree with it."""

import inspect
import os
import re
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

from pipeline import method
from pipeline.cli.stages import parsed
from pipeline.stages import SECTIONS, STAGES
from tests.conftest import REPO

NAMES = list(STAGES)


def function(place):
    module, name = place.split(":")
    return getattr(import_module(module), name)


def taken(call):
    """Arguments that a call takes, and those that it must get."""
    parameters = inspect.signature(call).parameters.values()
    return {p.name for p in parameters}, {p.name for p in parameters if p.default is p.empty}


def test_the_sections_are_the_methods():
    assert list(SECTIONS) == list(method.SECTIONS)


@pytest.mark.parametrize("name", NAMES)
def test_every_option_reaches_a_call_and_every_argument_has_an_option(name):
    stage = STAGES[name]
    options = {option.argument for option in stage.options}
    reached = {"into"} if stage.once else set()
    for place in [stage.once] if stage.once else [part.call for part in stage.parts]:
        takes = next(
            (set(part.takes) for part in stage.parts if part.call == place and part.takes is not None), options
        )
        accepted, needed = taken(function(place))
        assert needed <= takes <= accepted, place
        reached |= takes
    assert reached == options
    for part in stage.parts if stage.once else ():
        kinds = [one.kind for one in inspect.signature(function(part.call)).parameters.values()]
        assert len(kinds) == 2 and (len(part.outputs) == 1) == (kinds[1] != inspect.Parameter.VAR_POSITIONAL)


def test_the_snakefile_has_a_rule_for_each_stage_that_takes_everything_from_the_table():
    text = (REPO / "Snakefile").read_text()
    rules = dict(re.findall(r"^rule (\w+):\n(.*?)(?=^rule |\Z)", text, re.M | re.S))
    assert set(rules) - {"all"} == set(STAGES)
    for name in STAGES:
        for part in ("usual", "own", "files", "command"):
            assert f'{part}("{name}")' in rules[name], (name, part)


@pytest.mark.parametrize("name", NAMES)
def test_what_the_shell_line_says_is_what_the_sub_command_reads(name):
    stage = STAGES[name]
    line = re.sub(r"\{[^}]+\}(/\{[^}]+\})?", "x", stage.shell).split()
    options, given = parsed(stage, line[1:])
    assert line[0] == name
    assert options == {
        option.argument: [kind("x")] if option.many else kind("x")
        for option in stage.options
        for kind in [Path if option.path else str]
    }
    assert (given == Path("x")) == stage.asks == bool(stage.settings or stage.code)


def test_an_empty_value_stands_for_none():
    options, _ = parsed(STAGES["friction"], ["--test=t", "--settings={}", "--target=", "--into=r"])
    assert options["target"] is None
    options, _ = parsed(STAGES["rigs"], ["--archive=a", "--results=r", "--rigs", "--settings={}", "--into=r"])
    assert options["rigs"] == []


def test_a_wrong_call_of_a_stage_is_one_line(capsys):
    with pytest.raises(SystemExit) as end:
        parsed(STAGES["wear"], ["--test=t"])
    (line,) = capsys.readouterr().err.splitlines()
    assert end.value.code == 2
    assert line.startswith("stopsheet wear: ") and "--settings" in line


def test_a_stage_starts_without_what_only_people_need():
    """Stages are started thousands of times in a run; the help of the command line is read by people."""
    script = (
        "import sys; from pipeline.cli import run\n"
        "try: run(['stops', '--help'])\n"
        "except SystemExit: pass\n"
        "print(sorted({name.split('.')[0] for name in sys.modules} & {'typer', 'rich', 'pint', 'pydantic', 'polars'}))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], env=os.environ | {"PYTHONPATH": str(REPO)}, capture_output=True, text=True, check=True
    )  # fmt: skip
    assert done.stdout.splitlines()[-1] == "[]"
