"""The workflow engine as a child of `stopsheet run`: started, listened to, and ended with everything it started.

What the stages say goes to the terminal, each line once; all words, the engine's own among them, go to a log among the
results (`run.log`). A stage that was killed can say nothing, so each leaves a note while it works (`results/.jobs`): a
note that outlives the engine is a killed stage.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import select
import shutil
import signal
import subprocess
import sys
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from pipeline import faults
from pipeline.cli.lifeline import STOPPING, end_with
from pipeline.cli.notes import JOBS
from pipeline.cli.progress import Progress
from pipeline.cli.screen import Plain, Screen
from pipeline.workspace import telling

PREFIX = "stopsheet: "
KILLED = "was killed; where memory was short, run again with fewer --cores"
KILLED_ON_NODE = "was killed; where memory was short, give mem_mb more in a profile of your own and run again"
KEPT_LINES = 60
LOG = "run.log"
QUIET = Plain()


@dataclass
class Heard:
    """What came from the engine and the stages."""

    said: list[str] = field(default_factory=list)  # the stages' lines, each once
    last: deque[str] = field(default_factory=lambda: deque(maxlen=KEPT_LINES))  # the engine's last words
    progress: Progress = field(default_factory=Progress)
    log: Path | None = None  # None where it could not be written

    @property
    def for_all(self) -> str | None:
        """The line of a fault that every further stage would meet as well."""
        return next((line for line in self.said if line.endswith(faults.FOR_ALL)), None)


def drive(
    command: list[str],
    results: Path,
    lock: IO[str],
    *,
    progress: Progress | None = None,
    screen: Screen = QUIET,
    log: str = LOG,
    told: Mapping[str, str] | None = None,
    elsewhere: Callable[[], list[str]] | None = None,
    before: Heard | None = None,
) -> tuple[int, Heard]:
    """Run the engine to its end; (its exit code, what was heard). Whatever happens, no child is left.

    before: what was heard of an earlier call of the same run, which this one goes on with; log: name of the file for all words; told: more variables of the engine's environment; elsewhere: what stages on other
    machines have said so far, which is told of those that failed for good.
    """
    notes, room = results / ".jobs", results / ".temp"
    for folder in (notes, room):
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
    # Copies that readers make of packed recordings go to the results' disk: it is the one that is watched and swept.
    environment = {**os.environ, JOBS: str(notes), "TMPDIR": str(room), "PYTHONIOENCODING": "utf-8:backslashreplace"}
    environment |= {telling.TELL: "1", telling.ONLY: "", **(told or {})}
    heard = before or Heard(progress=progress or Progress())
    with (
        _logged(results / log, heard, "a" if before else "w") as written,
        _started(command, environment, lock) as engine,
    ):
        _listen(engine, heard, screen, written, elsewhere)
        if heard.for_all:
            _end(engine)
        code = engine.wait()
    for text in elsewhere() if elsewhere and code and not heard.for_all else ():
        _say(heard, text, screen)
    killed = KILLED_ON_NODE if elsewhere else KILLED
    for note in [] if heard.for_all else sorted(notes.glob("*")):
        _say(heard, f"{PREFIX}{note.read_text(encoding='utf-8')} {killed}", screen)
    for folder in (notes, room):
        shutil.rmtree(folder, ignore_errors=True)
    return code, heard


class _Log:
    """Lines to a file for as long as it takes them: a full disk must not end a run by its log."""

    def __init__(self, file: IO[str] | None) -> None:
        self._file = file

    def write(self, text: str) -> None:
        if self._file is not None:
            try:
                self._file.write(f"{text}\n")
                self._file.flush()
            except OSError:
                self.close()

    def close(self) -> None:
        file, self._file = self._file, None
        if file is not None:
            with contextlib.suppress(OSError):
                file.close()


@contextlib.contextmanager
def _logged(path: Path, heard: Heard, mode: str) -> Iterator[_Log]:
    file = None
    with contextlib.suppress(OSError):
        file = path.open(mode, encoding="utf-8", errors="backslashreplace")
        heard.log = path
    written = _Log(file)
    try:
        yield written
    finally:
        written.close()


@contextlib.contextmanager
def _started(command: list[str], environment: dict[str, str], lock: IO[str]) -> Iterator[subprocess.Popen[bytes]]:
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
            process_group=0,
            preexec_fn=in_child,
        )
        signal.pthread_sigmask(signal.SIG_SETMASK, kept)
        yield engine
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, kept)
        if engine is not None:
            _end(engine)


def _end(engine: subprocess.Popen[bytes]) -> None:
    """End the whole group at once, also twice: what is written is whole or not there, so there is nothing to wait
    for.
    """
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(engine.pid, signal.SIGKILL)
    engine.wait()
    if engine.stdout is not None:
        engine.stdout.close()


def _listen(
    engine: subprocess.Popen[bytes],
    heard: Heard,
    screen: Screen,
    written: _Log,
    elsewhere: Callable[[], list[str]] | None,
) -> None:
    """Until the engine closes its end or no further stage could do better; the screen is drawn now and then."""
    assert engine.stdout is not None
    said, rest = engine.stdout.fileno(), b""
    while not heard.for_all:
        ready, _, _ = select.select([said], [], [], screen.every_s)
        data = os.read(said, 1 << 16) if ready else None
        if data is not None:
            *lines, rest = (rest + data).split(b"\n")
            failed = len(heard.progress.failed)
            for line in lines if data else filter(None, [rest]):
                _hear(line.decode("utf-8", "replace"), heard, screen, written)
                if heard.for_all:
                    return
            if elsewhere and len(heard.progress.failed) > failed:
                for text in filter(lambda said: said.endswith(faults.FOR_ALL), elsewhere()):
                    _say(heard, text, screen)
        if data == b"":
            return
        screen.draw()


def _hear(text: str, heard: Heard, screen: Screen, written: _Log) -> None:
    event = telling.heard(text)
    if event is not None:
        heard.progress.hear(event)
        return
    written.write(text)
    if text.startswith(PREFIX):
        _say(heard, text, screen)
    else:
        heard.last.append(text)


def _say(heard: Heard, text: str, screen: Screen) -> None:
    if text not in heard.said:
        heard.said.append(text)
        screen.say(text)
