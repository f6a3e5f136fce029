"""The process of a run that loads what stages load and forks itself for each of them (`pipeline.starting` is the other end).

Loaded is what the table of stages names, and that of a stage when its first job comes: a run of one job loads no more than that job
would. Forking is sound while no thread of ours or of a library holds anything: the libraries' pools start at their first work, and
none is done here; the threads that allocator and library start as they load are known by name and only wait. With any other the
jobs are declined, and each starts by itself.

It ends with the engine, and every job with it (`lifeline`); a job whose command is gone is ended. Linux only; `STOPSHEET_STARTER=off` in
the environment of `stopsheet run` leaves it out.
"""

from __future__ import annotations

import atexit
import contextlib
import gc
import marshal
import os
import secrets
import selectors
import signal
import socket
import struct
import subprocess
import sys
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import IO, NamedTuple

from pipeline.cli.lifeline import end_with_engine
from pipeline.stages import STAGES
from pipeline.starting import DECLINED, ENGINE, HEAD, OFF, PLACE, STATUS, TAKEN

#: of every stage, beside its own calls
COMMON = ("pipeline.cli.stages", "pipeline.cli.guard", "pipeline.cli.notes", "pipeline.inputs.seen", "pipeline.results")
WAITING = ("jemalloc_bg_thd", "polars-ooc-clea")  # threads of an allocator and of a library that start as it loads
DOOR, ROPE, END, WORD = "door", "rope", "end", "word"
PATIENCE_S = 10.0  # for a command to say all it has to say


class Begun(NamedTuple):
    """The process as the engine holds it: it ends when `rope` is closed."""

    process: subprocess.Popen[bytes]
    rope: IO[bytes]

    def end(self) -> None:
        """With all its jobs, and waited for: the time that they took is then the engine's."""
        self.rope.close()
        self.process.wait()


def begun(lists: Path) -> Begun | None:
    """Start the process for the stages of this engine, and tell them by the environment; None where there is to be none.

    lists: the folder of the run's lists, by which the process can be told from those of other runs.
    """
    if sys.platform != "linux" or not hasattr(os, "pidfd_open") or os.environ.get(PLACE) == OFF:
        return None
    place = f"stopsheet-{os.getpid()}-{secrets.token_hex(8)}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as door:
        door.bind(f"\0{place}")
        door.listen(128)
        rope, ours = os.pipe()
        command = [sys.executable, "-P", "-m", __name__, str(door.fileno()), str(rope), str(lists)]
        started = subprocess.Popen(command, pass_fds=(door.fileno(), rope))
        os.close(rope)
    os.environ[PLACE] = place
    found = Begun(started, os.fdopen(ours, "wb"))
    atexit.register(found.end)
    return found


@dataclass(eq=False)
class _Job:
    """A stage that runs: its process, a handle on its end, and the command that waits for it (None: it has gone)."""

    process: int
    handle: int
    command: socket.socket | None


class Starter:
    """Takes jobs from `door` until the other end of `rope` is closed."""

    def __init__(self, door: int, rope: int) -> None:
        self.door = socket.socket(fileno=door)
        self.rope = rope
        self.own = os.getpid()
        self.jobs: set[_Job] = set()
        self.loaded: set[str] = set()
        self.waiting = selectors.DefaultSelector()
        self.waiting.register(self.door, selectors.EVENT_READ, DOOR)
        self.waiting.register(rope, selectors.EVENT_READ, ROPE)

    def serve(self) -> list[str] | None:
        """In a forked job its arguments, with its folder, environment and files in place; None at the end of the run."""
        while True:
            for key, _ in self.waiting.select():
                # A number of a file that was closed may stand for another by now: what happened is told by the data alone.
                if key.data == ROPE:
                    return None
                if key.data == DOOR:
                    arguments = self._taken()
                    if arguments is not None:
                        return arguments
                elif key.data[1] in self.jobs:
                    what, job = key.data
                    self._ended(job) if what == END else self._heard(job)

    def _taken(self) -> list[str] | None:
        command, _ = self.door.accept()
        files: list[int] = []
        try:
            command.settimeout(PATIENCE_S)
            head, files, _, _ = socket.recv_fds(command, HEAD, 3)
            if len(files) != 3 or not _ours(command):
                command.close()
                return None
            size = int.from_bytes(head + _exactly(command, HEAD - len(head)), "little")
            arguments, folder, environment = marshal.loads(_exactly(command, size))
            stage = next((one for one in arguments if not one.startswith("--")), "")
            if not self._ready_for(stage):
                command.sendall(DECLINED)
                command.close()
                return None
            process = os.fork()
            if process == 0:
                try:
                    self._become(command, files, folder, environment)
                except BaseException:
                    os._exit(1)
                return list(arguments)
            self._watch(process, command)
        except (OSError, ValueError, EOFError, TypeError):
            command.close()
        finally:
            for one in files:
                os.close(one)
        return None

    def _ready_for(self, stage: str) -> bool:
        """Whether a job of the stage can be forked, with all that it loads loaded."""
        if stage not in STAGES:
            return False
        found = STAGES[stage]
        for place in (*COMMON, *(part.call for part in found.parts), *filter(None, (found.once,))):
            module = place.split(":")[0]
            if module not in self.loaded:
                self.loaded.add(module)
                try:
                    import_module(module)
                except Exception:
                    return False  # the stage itself will find out, and say so of its test
                _build_models()
                gc.collect()
                gc.freeze()
        return _quiet()

    def _become(self, command: socket.socket, files: list[int], folder: bytes, environment: dict[bytes, bytes]) -> None:
        """What a process just forked has to be as a stage: files, folder and environment of its command, nothing of ours."""
        for at, one in enumerate(files):
            os.dup2(one, at)
        for at, name in enumerate(("stdin", "stdout", "stderr")):
            ours = getattr(sys, name)  # knows whether it may seek, and was told how to write letters that are lacking
            lines = 1 if name == "stderr" or os.isatty(at) else -1
            how = {"encoding": ours.encoding, "errors": ours.errors, "closefd": False}
            setattr(sys, name, open(at, "w" if at else "r", lines, **how))  # noqa: SIM115
        command.close()
        for job in self.jobs:
            os.close(job.handle)
            if job.command is not None:
                job.command.close()
        self.waiting.close()
        self.door.close()
        os.close(self.rope)
        os.chdir(folder)
        os.environb.clear()
        os.environb.update(environment)
        os.environ[ENGINE] = str(self.own)

    def _watch(self, process: int, command: socket.socket) -> None:
        try:
            job = _Job(process, os.pidfd_open(process), command)
            command.sendall(TAKEN)
        except OSError:
            os.kill(process, signal.SIGKILL)
            os.waitpid(process, 0)
            raise
        self.jobs.add(job)
        self.waiting.register(job.handle, selectors.EVENT_READ, (END, job))
        self.waiting.register(command, selectors.EVENT_READ, (WORD, job))

    def _heard(self, job: _Job) -> None:
        """Signals that the command passes on; where it has gone, nobody waits for the job any more."""
        if job.command is None:
            return
        try:
            numbers = job.command.recv(64)
        except OSError:
            numbers = b""
        for number in numbers or (signal.SIGKILL,):
            os.kill(job.process, number)
        if not numbers:
            self._let_go(job)

    def _let_go(self, job: _Job) -> None:
        if job.command is not None:
            self.waiting.unregister(job.command)
            job.command.close()
            job.command = None

    def _ended(self, job: _Job) -> None:
        _, status = os.waitpid(job.process, 0)
        self.waiting.unregister(job.handle)
        os.close(job.handle)
        self.jobs.remove(job)
        if job.command is not None:
            with contextlib.suppress(OSError):  # it may have gone
                job.command.sendall(status.to_bytes(STATUS, "little"))
            self._let_go(job)


def _ours(command: socket.socket) -> bool:
    """Whether the other end is a process of the same user."""
    size = struct.calcsize("3i")
    _, user, _ = struct.unpack("3i", command.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, size))
    return bool(user == os.getuid())


def _exactly(command: socket.socket, size: int) -> bytes:
    parts = []
    while size:
        part = command.recv(min(size, 1 << 20))
        if not part:
            raise EOFError
        parts.append(part)
        size -= len(part)
    return b"".join(parts)


def _build_models() -> None:
    """Build the models that were loaded: a stage by itself builds those that it uses, here once does for all jobs."""
    from pydantic import BaseModel

    kinds: list[type[BaseModel]] = [BaseModel]
    while kinds:
        kind = kinds.pop()
        kinds += kind.__subclasses__()
        if not kind.__pydantic_complete__:
            with contextlib.suppress(Exception):  # whoever uses it will say what is wrong
                kind.model_rebuild()


def _quiet() -> bool:
    """Whether this process may fork: every other thread is one that only waits."""
    own = str(os.getpid())
    try:
        names = [
            Path(f"/proc/self/task/{one}/comm").read_text().strip()
            for one in os.listdir("/proc/self/task")
            if one != own
        ]
    except OSError:
        return False
    return all(name in WAITING for name in names)


def main() -> None:
    end_with_engine()
    arguments = Starter(int(sys.argv[1]), int(sys.argv[2])).serve()
    if arguments is None:
        os._exit(0)  # its jobs end with it
    from pipeline.cli import run

    sys.argv[1:] = arguments
    sys.exit(run(arguments))


if __name__ == "__main__":
    main()
