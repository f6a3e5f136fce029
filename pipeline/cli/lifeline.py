"""No process of a run outlives it, and two runs never write the same results.

Three ropes, because any one may be cut. The lock on `results/.running` is the standard input of every process of a
run: it is one open file that all of them share, so it stays held as long as any of them lives. On Linux a child asks
to be ended with its parent (prctl PR_SET_PDEATHSIG). And the run ends its process group when it is stopped itself.
"""

from __future__ import annotations

import contextlib
import ctypes
import fcntl
import os
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import FrameType
from typing import IO

from pipeline.errors import InputError
from pipeline.starting import ENGINE

STOPPING = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
SAID_WHEN_STOPPED = "stopsheet: stopped; run again to continue"
PR_SET_PDEATHSIG = 1
WAIT_S = 3.0  # children of a killed run need a moment to go


class Stopped(BaseException):
    """The user or the system asked the run to end; `signal` is the number."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.signal = number


@contextlib.contextmanager
def stoppable() -> Iterator[None]:
    """Turn interrupt, termination and hang-up into `Stopped`. One that is ignored (nohup, a background job) stays
    so.
    """

    def stop(number: int, _: FrameType | None) -> None:
        for one in STOPPING:
            signal.signal(one, signal.SIG_IGN)  # a second one must not cut short the end of the first
        raise Stopped(number)

    kept = {one: signal.getsignal(one) for one in STOPPING}
    for one, handler in kept.items():
        if handler is not signal.SIG_IGN:
            signal.signal(one, stop)
    try:
        yield
    finally:
        for one, handler in kept.items():
            signal.signal(one, handler)


@contextlib.contextmanager
def alone(results: Path, config: Path) -> Iterator[IO[str]]:
    """The lock of a results folder, as an open file to hand to the children. Raises InputError when another run has
    it.
    """
    with (results / ".running").open("a") as held:
        until = time.monotonic() + WAIT_S
        while True:
            try:
                fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                if time.monotonic() > until:
                    raise InputError(f"{config}: another run is writing {results}; wait for it") from None
                time.sleep(0.1)
        yield held


def end_with(parent: int) -> None:
    """Ask the system (Linux) to end this process when its parent ends; where `parent` has gone already, end now."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)
    if os.getppid() != parent and not _lives(parent):
        os._exit(1)


def end_with_engine() -> None:
    """The same for a stage, whose parent the Snakefile names; nothing where a stage is called by hand."""
    parent = os.environ.get(ENGINE, "")
    if parent.isdecimal():
        end_with(int(parent))


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
