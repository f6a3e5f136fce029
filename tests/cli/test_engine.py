"""The engine's end: a fault that all further stages would meet ends the run at once, a killed stage is named."""

import signal
import sys

import pytest

from pipeline.cli import engine, workspace
from pipeline.workspace.telling import Event, Job

FULL = "stopsheet: t1: stage wear: /r/wear.json: the disk is full; free space and run again"
NOTE = "import os, pathlib; pathlib.Path(os.environ['STOPSHEET_JOBS'], '1').write_text('t2: stage drift')"


def drive(tmp_path, code):
    with (tmp_path / "lock").open("a") as lock:
        return engine.drive([sys.executable, "-c", code], tmp_path, lock)


def test_a_full_disk_ends_the_run_at_once_with_its_one_line(tmp_path, capsys):
    more = "while True: print('x' * 1000, flush=True)"  # an engine that would never end by itself
    code, heard = drive(tmp_path, f"{NOTE}\nprint({FULL!r}, flush=True)\n{more}")
    assert code == -signal.SIGKILL and heard.said == [FULL]
    assert capsys.readouterr().err == FULL + "\n"


def test_a_stage_that_left_its_note_was_killed(tmp_path, capsys):
    _, heard = drive(tmp_path, NOTE)
    assert heard.said == [f"stopsheet: t2: stage drift {engine.KILLED}"]
    assert not (tmp_path / ".jobs").exists() and not (tmp_path / ".temp").exists()


def test_a_line_said_twice_is_told_once(tmp_path, capsys):
    code, _ = drive(tmp_path, "for _ in range(3): print('stopsheet: t1: no', flush=True)")
    assert code == 0 and capsys.readouterr().err == "stopsheet: t1: no\n"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["Error in rule stops:", "    jobid: 3"], f"stage stops {engine.KILLED}"),
        (
            [
                "Command 'set -euo pipefail;  exec python -P -m pipeline --seen=/r/.seen wear --test=/a/t1' died",
                "WorkflowError:",
            ],
            f"stage wear {engine.KILLED}",
        ),
        (["OSError: [Errno 28] No space left on device"], "the disk is full; free space and run again"),
        (["Something else."], "the run ended early (Something else.)"),
    ],
)
def test_where_no_stage_said_a_word_the_engines_last_are_read(tmp_path, words, said):
    heard = engine.Heard()
    heard.last.extend(words)
    assert said in workspace._engine_fault(tmp_path, heard)


def test_a_stage_that_ended_without_a_word_is_named_with_its_test(tmp_path):
    heard = engine.Heard()
    heard.last.extend(["Error in rule wear:"])
    heard.progress.hear(Event("planned", job=Job(4, "wear", "t2", "first")))
    heard.progress.hear(Event("failed", 4))
    assert workspace._engine_fault(tmp_path, heard) == f"t2: stage wear {engine.KILLED}"
