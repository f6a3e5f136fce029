"""A plan of the engine loads no library for tables."""

import os
import subprocess
import sys
from importlib.util import find_spec

import pytest

from pipeline.workspace import telling
from pipeline.workspace.plain_params import plain_params
from tests.conftest import REPO
from tests.studies import small_runs

ENGINE = """
import atexit, sys, snakemake.cli
atexit.register(lambda: print("tables" if "pandas" in sys.modules else "none"))
snakemake.cli.main(sys.argv[1:])
"""


@pytest.mark.skipif(bool(find_spec("snakemake_executor_plugin_slurm")), reason="a cluster's plugin loads it by itself")
def test_a_plan_with_its_reasons_loads_no_library_for_tables(tmp_path):
    pytest.importorskip("pandas")
    config = small_runs.workspace(tmp_path, 1)
    done = subprocess.run(
        [sys.executable, "-P", "-c", ENGINE, "-s", str(REPO / "Snakefile"), "--directory", str(tmp_path / "results"), "--configfile",
         str(config), "--cores", "1", "--workflow-profile", "none", "--dry-run"],
        env=os.environ | {telling.TELL: "1", "STOPSHEET_STARTER": "off"}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert telling.MARK in done.stderr  # which stages would run, and why
    assert done.stdout.splitlines()[-1] == "none"


@pytest.mark.parametrize("value", ["text", 3, 2.5, True, None, ["a", "b"], ("a",), {}, ""])
def test_params_are_written_down_as_before(value, monkeypatch):
    pytest.importorskip("pandas")
    from snakemake import persistence

    kind = persistence.PersistenceBase
    monkeypatch.setattr(kind, "_serialize_param", kind._serialize_param)
    monkeypatch.setattr(kind, "__abstractmethods__", frozenset())
    notes = object.__new__(kind)
    before = notes._serialize_param_pandas(value)
    plain_params(persistence)
    assert notes._serialize_param(value) == before
