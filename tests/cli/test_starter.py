"""Stages forked from the process of a run that has loaded their libraries: the same ends, words and files as when each starts by itself."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pipeline import starting
from pipeline.cli import starter
from tests.conftest import REPO

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="forked on Linux only")
SETTINGS = "{}"


@pytest.fixture
def engine(monkeypatch, tmp_path):
    """This process as an engine with its starter."""
    monkeypatch.setenv(starting.ENGINE, str(os.getpid()))
    monkeypatch.setenv("PYTHONPATH", str(REPO))
    monkeypatch.setenv("STOPSHEET_JOBS", str(tmp_path / "jobs"))
    monkeypatch.setenv(starting.PLACE, "")
    (tmp_path / "jobs").mkdir()
    found = starter.begun(tmp_path)
    yield found
    found.end()


def stage(folder: Path, given: Path) -> list[str]:
    """A job that has to say why it cannot be done: its settings are none."""
    return [
        "repeatability", "--compound=Marram 4", f"--archive={folder}", "--tests", f"--results={folder}", f"--settings={SETTINGS}",
        f"--into={folder / 'out'}", f"--given={given}",
    ]  # fmt: skip


def started(arguments: list[str], **more) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-P", "-m", "pipeline", *arguments],
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **more,
    )  # fmt: skip


def ended(command: subprocess.Popen[str]) -> tuple[int, str, str]:
    out, err = command.communicate(timeout=600)
    return command.returncode, out, err


def held(tmp_path: Path, engine: starter.Begun) -> tuple[subprocess.Popen[str], int]:
    """A command whose job waits for the run's settings, which nobody writes; the job's process, a child of the starter."""
    given = tmp_path / "given"
    os.mkfifo(given)
    command = started(stage(tmp_path, given))
    while not list((tmp_path / "jobs").iterdir()):
        assert command.poll() is None
        time.sleep(0.02)
    (job,) = Path(f"/proc/{engine.process.pid}/task/{engine.process.pid}/children").read_text().split()
    return command, int(job)


def gone(process: int) -> bool:
    until = time.monotonic() + 300
    while Path(f"/proc/{process}").exists() and time.monotonic() < until:
        time.sleep(0.02)
    return not Path(f"/proc/{process}").exists()


def files(folder: Path) -> dict[str, bytes]:
    found = {path.name: path for path in sorted(folder.iterdir()) if path.is_file() and path.suffix != ".txt"}
    return {name: path.read_bytes() for name, path in found.items()}


def test_a_forked_stage_ends_says_and_writes_what_one_alone_does(engine, tmp_path, monkeypatch):
    given = tmp_path / "given"
    given.write_text(SETTINGS)
    whole, wrong = stage(tmp_path, given), ["repeatability", "--tests=3"]
    taken = [ended(started(whole)), ended(started(wrong)), ended(started(["no-such-stage"]))]
    written = files(tmp_path / "out")
    (tmp_path / "out").rename(tmp_path / "first")
    monkeypatch.delenv(starting.PLACE)
    assert [ended(started(whole)), ended(started(wrong)), ended(started(["no-such-stage"]))] == taken
    assert files(tmp_path / "out") == written
    assert "repeatability.json" in written and [code for code, _, _ in taken[1:]] == [2, 2]


def test_a_job_that_is_killed_ends_its_command_so_and_leaves_its_note(engine, tmp_path):
    command, job = held(tmp_path, engine)
    os.kill(job, signal.SIGKILL)
    assert ended(command) == (-signal.SIGKILL, "", "")
    assert len(list((tmp_path / "jobs").iterdir())) == 1


def test_a_command_that_is_killed_takes_its_job_with_it(engine, tmp_path):
    command, job = held(tmp_path, engine)
    command.kill()
    assert ended(command)[0] == -signal.SIGKILL
    assert gone(job)
    assert len(list((tmp_path / "jobs").iterdir())) == 1


def test_a_signal_is_passed_on(engine, tmp_path):
    command, job = held(tmp_path, engine)
    command.terminate()
    assert ended(command) == (143, "", "stopsheet: stopped; run again to continue\n")
    assert gone(job) and not list((tmp_path / "jobs").iterdir())


def test_nothing_outlives_the_engine(engine, tmp_path):
    command, job = held(tmp_path, engine)
    engine.rope.close()
    assert ended(command)[0] == -signal.SIGKILL
    assert gone(job)
    engine.process.wait()


def test_without_a_starter_that_answers_a_command_is_the_stage_itself(engine, tmp_path):
    engine.process.kill()
    engine.process.wait()
    given = tmp_path / "given"
    given.write_text(SETTINGS)
    ended(started(stage(tmp_path, given)))
    assert (tmp_path / "out" / "repeatability.json").is_file()


def test_only_the_engines_own_commands_are_handed_over(monkeypatch):
    monkeypatch.setenv(starting.PLACE, "nobody-listens-here")
    monkeypatch.setenv(starting.ENGINE, "1")
    assert starting.handed_over(["stops"]) is None
    monkeypatch.setenv(starting.ENGINE, str(os.getppid()))
    assert starting.handed_over(["stops"]) is None


def test_a_process_with_a_thread_that_works_does_not_fork():
    script = (
        "import threading, pipeline.cli.starter as s\nassert s._quiet()\nimport polars\nassert s._quiet()\n"
        "hold = threading.Event()\nthreading.Thread(target=hold.wait, daemon=True).start()\nassert not s._quiet()\n"
        "import os; os._exit(0)"
    )
    subprocess.run([sys.executable, "-c", script], check=True, env=os.environ | {"PYTHONPATH": str(REPO)})
