"""Modules, profiles and settings planted beside a config are never executed or taken over."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import REPO

# Modules that are imported late by the workflow engine, by a stage or by a library, none of them ours.
NAMES = ("tabulate", "pulp", "sympy", "psutil", "sitecustomize", "numexpr", "matplotlib", "yaml", "secrets")
CODE = "import pathlib, sys\npathlib.Path({marker!r}).write_text({name!r})\n"


def planted(folder: Path, marker: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for name in NAMES:
        (folder / f"{name}.py").write_text(CODE.format(marker=str(marker), name=name))
    for profile in ("default", "profiles/default"):
        (folder / profile).mkdir(parents=True)
        (folder / profile / "config.yaml").write_text("forceall: true\nprintshellcmds: true\ndry-run: true\n")
    (folder / "matplotlibrc").write_text("text.usetex: True\nfont.size: 33\n")


def environment(**more: str) -> dict[str, str]:
    return {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")} | more


@pytest.fixture
def place(tmp_path):
    """A config of an archive without a test that can be used, in a folder full of planted files; so are its results."""
    planted(tmp_path / "place", tmp_path / "executed")
    planted(tmp_path / "place" / "results", tmp_path / "executed")
    refused = tmp_path / "place" / "archive" / "no id"
    refused.mkdir(parents=True)
    (refused / "test.yaml").write_text("")
    (tmp_path / "place" / "m.yaml").write_text("")
    config = tmp_path / "place" / "config.yaml"
    config.write_text("archive: archive\nresults: results\nmethods: [m.yaml]\n")
    return tmp_path / "place"


@pytest.mark.workflow
@pytest.mark.parametrize("way", ["stopsheet", "module", pytest.param("snakemake", marks=pytest.mark.heavy)])
def test_nothing_that_lies_beside_a_config_is_executed(place, way):
    script = "import sys; sys.argv[0] = 'stopsheet'; from pipeline.__main__ import main; main()"
    commands = {
        # As the installed command does it: its own folder is first on the import path, not the current one.
        "stopsheet": [sys.executable, "-P", "-c", script, "run", "config.yaml", "--cores", "1"],
        "module": [sys.executable, "-m", "pipeline", "check", "config.yaml"],
        "snakemake": [sys.executable, "-P", "-m", "snakemake", "-s", str(REPO / "Snakefile"), "--directory", "results",
                      "--configfile", "config.yaml", "--cores", "1", "--workflow-profile", "none"],
    }  # fmt: skip
    done = subprocess.run(
        commands[way], cwd=place, env=environment(PYTHONPATH=str(REPO)), capture_output=True, text=True, check=False
    )
    assert not (place.parent / "executed").exists(), (place.parent / "executed").read_text()
    assert done.returncode == (0 if way == "snakemake" else 3), done.stderr  # 3 for the one that cannot be used
    assert way == "module" or (place / "results" / "m" / "index.html").is_file()


def test_the_settings_of_the_figures_are_ours_alone(tmp_path):
    planted(tmp_path, tmp_path / "executed")
    code = "from pipeline.report import plot_style; import matplotlib as m; print(m.rcParams['text.usetex'], m.rcParams['font.size'])"
    done = subprocess.run(
        [sys.executable, "-P", "-c", code], cwd=tmp_path, env=environment(PYTHONPATH=str(REPO)),
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.split() == ["False", "10.0"]
