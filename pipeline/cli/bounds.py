"""Reading in a process of its own, with limits of time and memory.

A library that reads a hostile file may be busy for ever, ask for all memory or crash, and none of that can be caught
where it happens. So the stage forks before it reads: the child goes on as the stage, the parent listens to how far it
comes, looks at its memory, and ends it where a limit is passed. The test is then unusable, with the file and the
limit named, and the other tests go on.
"""

from __future__ import annotations

import contextlib
import os
import select
import signal
import sys
import time
from pathlib import Path

from pipeline.cli.lifeline import end_with
from pipeline.recordings import limits

STALL_S = 600.0  # without a further chunk of rows; one takes less than a second
LONGEST_S = 4 * 3600.0  # for all recordings of a test
MEMORY_BYTES = 4 << 30  # resident; a stage needs some 200 MB whatever a recording's size
LOOK_S = 0.2
CRASHES = (signal.SIGSEGV, signal.SIGBUS, signal.SIGABRT, signal.SIGILL, signal.SIGFPE)


def read_within(outputs: Path | None = None) -> str | None:
    """Go on in a child. There, and where no child can be watched: None. In the parent: why the child was ended, when
    it was.

    A child that ends by itself takes the parent with it, with the same exit code. What an ended one left half-written
    in the folder `outputs` is removed.
    """
    if not _alone():
        return None
    ours, theirs = os.pipe()
    parent = os.getpid()
    sys.stdout.flush()
    sys.stderr.flush()
    child = os.fork()
    if child == 0:
        os.close(ours)
        end_with(parent)
        limits.tell(theirs)
        return None
    os.close(theirs)
    status, heard = None, ["the recordings"]
    try:
        why = _watched(child, ours, heard)
        if why is not None:
            os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
    finally:
        os.close(ours)
        if status is None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
        for part in outputs.glob(f"*.{child}.part") if outputs else ():
            part.unlink(missing_ok=True)
    return f"{heard[-1]}: {why}" if why else _ended(status, heard[-1])


def _alone() -> bool:
    """Whether this process may fork and be watched: on Linux, with one thread."""
    try:
        return len(os.listdir("/proc/self/task")) == 1
    except OSError:
        return False


def _watched(child: int, told: int, lines: list[str]) -> str | None:
    """Why the child must end; None when it has closed its end, which is when it ends. The last it said is added to
    `lines`.
    """
    begun = heard = time.monotonic()
    rest = b""
    while True:
        ready, _, _ = select.select([told], [], [], LOOK_S)
        now = time.monotonic()
        if ready:
            data = os.read(told, 1 << 16)
            if not data:
                return None
            *said, rest = (rest + data).split(b"\n")
            if said:
                lines[:], heard = [said[-1].decode("utf-8", "replace")], now
        if now - heard > STALL_S:
            return f"reading came no further in {STALL_S:g} s; export the file again or remove it"
        if now - begun > LONGEST_S:
            return f"the test's recordings were not read within {LONGEST_S / 3600:g} hours; divide the test"
        if _resident(child) > MEMORY_BYTES:
            return f"reading needs more than {MEMORY_BYTES / 2**30:g} GB of memory; export the file again or remove it"


def _resident(process: int) -> int:
    """Resident memory (bytes); 0 where the process has gone."""
    try:
        return int(Path(f"/proc/{process}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
    except (OSError, IndexError):
        return 0


def _ended(status: int, last: str) -> str | None:
    """End as the child did; only a crash, which a file may provoke, is a reason to refuse the test."""
    code = os.waitstatus_to_exitcode(status)
    if -code in CRASHES:
        return (
            f"{last}: the library that reads it crashed ({signal.Signals(-code).name}); export the file again or "
            "remove it"
        )
    if code < 0:
        os.kill(os.getpid(), -code)
    raise SystemExit(code)
