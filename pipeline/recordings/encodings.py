"""Text in two-byte letters (UTF-16, as spreadsheets and Windows programs save it) -> UTF-8, block by block."""

from __future__ import annotations

import codecs
from typing import IO, cast

MARKS = {codecs.BOM_UTF16_LE: "utf-16-le", codecs.BOM_UTF16_BE: "utf-16-be"}
LOOKED_AT = 1 << 12
MANY, FEW = 0.6, 0.04  # share of noughts in one byte of two, and in the other, that plain letters leave


def utf16_of(data: bytes) -> str | None:
    """Which UTF-16 a text begins in: by its mark, else by the noughts in every other byte; None where it is none."""
    if data[:2] in MARKS:
        return MARKS[data[:2]]
    start = data[: min(len(data), LOOKED_AT) // 2 * 2]
    half = max(len(start) // 2, 1)
    shares = {"utf-16-le": start[1::2].count(0) / half, "utf-16-be": start[::2].count(0) / half}
    name = max(shares, key=lambda one: shares[one])
    return name if shares[name] > MANY and min(shares.values()) < FEW else None


def as_utf8(data: bytes, name: str) -> bytes:
    """All of a text in UTF-8, without its mark; what is no letter becomes the sign for one that is lost."""
    return data.decode(name, "replace").removeprefix("\ufeff").encode()


class _Recoded:
    """A stream of UTF-16 read as UTF-8."""

    def __init__(self, stream: IO[bytes], start: bytes, name: str) -> None:
        self._stream, self._start = stream, start
        self._decoder = codecs.getincrementaldecoder(name)("replace")
        self._first, self._rest = True, b""

    def read(self, size: int) -> bytes:
        while len(self._rest) < size:
            data, self._start = self._start or self._stream.read(size), b""
            text = self._decoder.decode(data, final=not data)
            if self._first and text:
                text, self._first = text.removeprefix("\ufeff"), False
            self._rest += text.encode()
            if not data:
                break
        part, self._rest = self._rest[:size], self._rest[size:]
        return part


def recoded(stream: IO[bytes]) -> IO[bytes]:
    """The stream as UTF-8 where it is UTF-16; any other as it is, its first bytes not lost."""
    start = stream.read(LOOKED_AT)
    return cast("IO[bytes]", _Recoded(stream, start, name) if (name := utf16_of(start)) else _Begun(stream, start))


class _Begun:
    """A stream of which the first bytes were taken already."""

    def __init__(self, stream: IO[bytes], start: bytes) -> None:
        self._stream, self._start = stream, start

    def read(self, size: int) -> bytes:
        part, self._start = self._start[:size], self._start[size:]
        return part or self._stream.read(size)
