"""How much a reader takes in before it refuses: a recording comes from anywhere, and a small file may hold a great
deal.

Four megabytes of Parquet can hold 200 million equal rows, a packed text a thousand times its size. Time and memory
are watched from outside (`pipeline.cli.bounds`), for a library that is busy or out of memory can't be asked; `alive`
tells it how far reading has come.
"""

from __future__ import annotations

import os
from typing import IO

from pipeline.errors import Complaint, InputError

LEAST_ROWS = 3  # of a recording
MOST_ROWS = 100_000_000  # of a test: 28 hours at 1 kHz
MOST_BYTES = 64 << 30  # of an unpacked recording
MOST_PACKED = 200  # times the packed size; recordings pack to a third or a thirtieth
ALWAYS_BYTES = 256 << 20  # however well it packs

_told: list[int] = []  # where to write how far reading has come, if anybody listens


class TooMuch(InputError):
    """The test holds more than is read; it is refused as a whole."""


def refuse_rows(rows: int, what: str = "holds {} rows") -> None:
    """TooMuch when a recording or a test has more rows than are read."""
    if rows > MOST_ROWS:
        said = what.format(f"{rows:,}")
        raise TooMuch(f"{said}; at most {MOST_ROWS:,} are read (28 hours at 1 kHz): divide the test, or thin it out")


def refuse_few_rows(rows: int) -> None:
    """InputError when a recording has fewer usable rows than anything can be said of."""
    if rows < LEAST_ROWS:
        mend = "export the recording again, or remove it where nothing was recorded"
        raise InputError(Complaint("", f"has {rows} usable rows", f"{LEAST_ROWS} or more", mend))


def tell(descriptor: int) -> None:
    """Let `alive` write to a file descriptor for the rest of the process."""
    _told.append(descriptor)


def alive(what: str) -> None:
    """Say what is being read; called for each recording and each chunk of it."""
    for descriptor in _told:
        os.write(descriptor, what.encode("utf-8", "replace").replace(b"\n", b" ")[:300] + b"\n")


class Unpacked:
    """A stream of unpacked bytes that refuses to go on for ever. packed: size of the file (bytes)."""

    def __init__(self, stream: IO[bytes], packed: int) -> None:
        self.stream, self.packed, self.read_bytes = stream, packed, 0

    def read(self, size: int = -1) -> bytes:
        """As of any stream; raises TooMuch."""
        data = self.stream.read(size)
        self.read_bytes += len(data)
        if self.read_bytes > MOST_BYTES or self.read_bytes > max(ALWAYS_BYTES, MOST_PACKED * self.packed):
            raise TooMuch(
                f"unpacks to more than {self.read_bytes / 1e9:.1f} GB from {self.packed / 1e6:.1f} MB: no recording "
                "packs like "
                "that; export it again"
            )
        return data
