"""What was read of recordings that stay as they are, of a test that still runs and is read again with each new one.

A reader's chunks of a file are kept, and given again while size, both times and number of the file are the same (the time of the
last change of its state, `ctime`, cannot be set by a program) and the card says the same of the recordings. A file that was changed
within `UNSETTLED_S` of the read, or while it was read, is read again: its times may not tell the next edit apart. Of a test
with more samples than KEPT_BYTES hold, what does not fit is read again too. Chunks are taken as they are and never changed, so that
a test read on is the test read from the start.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

from pipeline.archive.written import Written
from pipeline.inputs.seen import UNSETTLED_S
from pipeline.recordings.chunk import Chunk
from pipeline.recordings.places import Place

KEPT_BYTES = 200 << 20
Read = Callable[[Place, Written], Iterator[Chunk]]


class _Known(NamedTuple):
    state: tuple[int, ...]
    written: Written
    chunks: list[Chunk]
    size: float


@dataclass
class Kept:
    """The recordings of one test as they were last read."""

    _known: dict[Place, _Known] = field(default_factory=dict)

    def read(self, reader: Read, place: Place, written: Written) -> Iterator[Chunk]:
        """What `reader` gives of a place, from what is kept where that is of the same file."""
        began, state = time.time_ns(), _state(place.path)
        known = self._known.get(place)
        if known is not None and (known.state, known.written) == (state, written):
            yield from known.chunks
            return
        self._known.pop(place, None)
        room: float = KEPT_BYTES - sum(one.size for one in self._known.values())
        chunks: list[Chunk] = []
        for chunk in reader(place, written):
            room -= chunk.rows.estimated_size()
            if room >= 0:
                chunks.append(chunk)
            yield chunk
        settled = state is not None and max(state[1:3]) < began - UNSETTLED_S * 1e9
        if state is not None and settled and room >= 0 and state == _state(place.path):
            self._known[place] = _Known(state, written, chunks, sum(one.rows.estimated_size() for one in chunks))


def _state(path: Path) -> tuple[int, ...] | None:
    try:
        info = os.stat(path)
    except OSError:  # told by the reader
        return None
    return (info.st_size, info.st_mtime_ns, info.st_ctime_ns, info.st_ino)
