"""The workflow engine as a child of `stopsheet run`: started, listened to, and ended with everything it started.

What the stages say goes to the terminal, each line once; the engine's own words go there too unless they are about a
job that failed, which the stage has told better. A stage that was killed can say nothing, so each leaves a note while
it works (`results/.jobs`): a note that outlives the engine is a killed stage.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import shutil
import signal
import subprocess
import sys
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from pipeline import faults
from pipeline.cli.lifeline import STOPPING, end_with

JOBS = "STOPSHEET_JOBS"  # folder of the notes; set here for the stages
PREFIX = "stopsheet: "
KILLED = "was killed; where memory was short, run again with fewer --cores"
KEPT_LINES = 60


@dataclass
class Heard:
    """What came from the engine and the stages."""

    said: list[str] = field(default_factory=list)  # the stages' lines, each once
    last: deque[str] = field(default_factory=lambda: deque(maxlen=KEPT_LINES))  # the engine's last words

    @property
    def for_all(self) -> str | None:
        """The line of a fault that every further stage would meet as well."""
        return next((line for line in self.said if line.endswith(faults.FOR_ALL)), None)


def drive(command: list[str], results: Path, lock: IO[str]) -> tuple[int, Heard]:
    """Run the engine to its end; (its exit code, what was heard). Whatever happens, no child is left."""
    notes, room = results / ".jobs", results / ".temp"
    for folder in (notes, room):
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
    # Copies that readers make of packed recordings go to the results' disk: it is the one that is watched and swept.
    environment = {**os.environ, JOBS: str(notes), "TMPDIR": str(room), "PYTHONIOENCODING": "utf-8:backslashreplace"}
    heard = Heard()
    with _started(command, environment, lock) as engine:
        _listen(engine, heard)
        if heard.for_all:
            _end(engine)
        code = engine.wait()
    for note in [] if heard.for_all else sorted(notes.glob("*")):
        _say(heard, f"{PREFIX}{note.read_text(encoding='utf-8')} {KILLED}")
    for folder in (notes, room):
        shutil.rmtree(folder, ignore_errors=True)
    return code, heard


@contextlib.contextmanager
def noted(what: str) -> Iterator[None]:
    """Leave a note of a stage for as long as it works."""
    folder = os.environ.get(JOBS)
    note = Path(folder) / str(os.getpid()) if folder else None
    if note is not None:
        with contextlib.suppress(OSError):  # a full disk: the stage will find out and say so
            note.write_text(what, encoding="utf-8")
    try:
        yield
    finally:
        if note is not None:
            note.unlink(missing_ok=True)


@contextlib.contextmanager
def _started(command: list[str], environment: dict[str, str], lock: IO[str]) -> Iterator[subprocess.Popen[str]]:
    parent = os.getpid()
    if sys.platform == "linux":
        ctypes.CDLL(None)  # loaded before the fork

    def in_child() -> None:
        end_with(parent)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, STOPPING)

    # A signal between the start and the first line of the block would leave a child that nobody knows.
    kept = signal.pthread_sigmask(signal.SIG_BLOCK, STOPPING)
    engine = None
    try:
        engine = subprocess.Popen(
            command,
            env=environment,
            stdin=lock,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            encoding="utf-8",
            errors="replace",
            process_group=0,
            preexec_fn=in_child,
        )
        signal.pthread_sigmask(signal.SIG_SETMASK, kept)
        yield engine
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, kept)
        if engine is not None:
            _end(engine)


def _end(engine: subprocess.Popen[str]) -> None:
    """End the whole group at once, also twice: what is written is whole or not there, so there is nothing to wait
    for.
    """
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(engine.pid, signal.SIGKILL)
    engine.wait()
    if engine.stdout is not None:
        engine.stdout.close()


def _listen(engine: subprocess.Popen[str], heard: Heard) -> None:
    assert engine.stdout is not None
    for line in engine.stdout:
        text = line.rstrip("\n")
        if text.startswith(PREFIX):
            _say(heard, text)
        else:
            heard.last.append(text)
        if heard.for_all:
            return
        if text.endswith("done") and "steps" in text:
            print(text, flush=True)


def _say(heard: Heard, text: str) -> None:
    if text not in heard.said:
        heard.said.append(text)
        print(text, file=sys.stderr, flush=True)
