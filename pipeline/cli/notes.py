"""The note that a stage leaves while it works: who was killed can say nothing, but its note stays.

Every stage loads this, so it loads nothing itself.
"""

from __future__ import annotations

import contextlib
import os
import zlib
from collections.abc import Iterator
from pathlib import Path

JOBS = "STOPSHEET_JOBS"  # folder of the notes; set by the command that starts the engine


@contextlib.contextmanager
def noted(what: str, into: Path) -> Iterator[None]:
    """Leave a note of a stage, whose results go `into` a folder, for as long as it works.

    Its name is the same for the same stage: one that was killed and is tried again takes its note away, on whichever
    machine.
    """
    folder = os.environ.get(JOBS)
    note = Path(folder) / f"{zlib.crc32(os.fsencode(f'{what} {into}')):08x}" if folder else None
    try:  # around the writing, too: a signal there ends the stage, which was then not killed
        if note is not None:
            with contextlib.suppress(OSError):  # a full disk: the stage will find out and say so
                note.write_text(what, encoding="utf-8")
        yield
    finally:
        if note is not None:
            note.unlink(missing_ok=True)
