"""The machine fails during a run: the next run ends as if nothing had happened (the whole of it: tests/studies/broken_system)."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from pipeline.inputs import seen
from pipeline.results import fault, read_json
from tests.conftest import REPO
from tests.hostile.base import write_base
from tests.studies import broken_system, kills, small_runs

pytestmark = pytest.mark.workflow


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory):
    """A workspace of one test, its results and their size in kB."""
    config = small_runs.workspace(tmp_path_factory.mktemp("broken"), 1)
    wanted, _ = small_runs.undisturbed(config, "as it was")
    root = config.parent / "results"
    return config, wanted, sum(path.stat().st_size for path in root.rglob("*") if path.is_file()) // 1000


@pytest.mark.heavy
@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("disk full at 35%", "the disk is full; free space and run again"),
        ("no permission: a recording", "no permission; give it and run again"),
        ("test.yaml vanishes while wear", "test.yaml: is not there any more; put it back and run again"),
        ("a recording changes while", "changed while it was read; run again"),
    ],
)
def test_nothing_sticks_and_one_line_says_what_to_do(undisturbed, name, said):
    config, wanted, size_kb = undisturbed
    (case,) = [case for full, case in broken_system.cases(config, size_kb).items() if full.startswith(name)]
    small_runs.forget(config)
    try:
        code, lines = case(config)
    except broken_system.Skipped as why:
        pytest.skip(str(why))
    assert code == 1 and lines and all(said in line for line in lines)  # a line for each stage that met it
    assert len(lines) == 1 or name.startswith("test.yaml")
    assert small_runs.run(config) == (0, [])
    assert kills.differing(small_runs.results(config), wanted) == ()


def channels(tmp_path, *, before=()):
    """The stage as the workflow calls it, on a test whose files were listed; its end."""
    folder, lists = tmp_path / "archive" / "t1", tmp_path / "lists"
    files = seen.look(folder)
    seen.write(lists / "t1.json", folder, files)
    return subprocess.run(
        [*before, sys.executable, "-m", "pipeline", f"--seen={lists}", "channels", f"--test={folder}", "--wear=wear.csv",
         f"--into={tmp_path}",
         f"--fingerprint={seen.fingerprint(files, besides='wear.csv')}"],
        env={**os.environ, "PYTHONPATH": str(REPO)}, capture_output=True, text=True, check=False,
    )  # fmt: skip


def test_a_recording_without_permission_makes_its_test_unusable_until_the_next_run(tmp_path):
    folder = write_base(tmp_path / "archive", "delimited", "t1")
    path = sorted((folder / "recordings").iterdir())[3]
    before = broken_system.ORDINARY if os.getuid() == 0 else []
    path.chmod(0)
    done = channels(tmp_path, before=before)
    why = f"{path}: no permission; give it and run again"
    assert (done.returncode, done.stderr) == (0, f"stopsheet: t1: {why}\n")
    assert read_json(tmp_path / "t1.json")["unusable"] == why
    assert [one.due for one in fault.left_in(tmp_path).values()] == [True]
    path.chmod(0o644)
    assert channels(tmp_path).stderr == ""
    assert read_json(tmp_path / "t1.json")["unusable"] is None
    assert fault.left_in(tmp_path) == {}
