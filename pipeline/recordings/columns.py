"""Finding the mapped columns among those that a file has."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence

from pipeline.archive.card import CHANNELS, REQUIRED_CHANNELS, Channel
from pipeline.archive.scan import printable
from pipeline.errors import InputError

OPTIONAL = tuple(name for name in CHANNELS if name not in (*REQUIRED_CHANNELS, "time"))


def positions(
    header: Sequence[str], channels: Mapping[str, Channel], *, needed: Sequence[str] = ("time", *REQUIRED_CHANNELS)
) -> dict[str, int]:
    """Canonical name -> position in the header; optional channels that the file lacks are left out.

    Raises InputError naming the column, the nearest one that the file has, and what it has altogether.
    """
    names = [name.strip() for name in header]
    found = {}
    for channel, where in channels.items():
        count = names.count(where.column.strip())
        if count == 1:
            found[channel] = names.index(where.column.strip())
        elif count > 1:
            raise InputError(f"column {where.column!r} ({channel}) stands {count} times in the header")
        elif channel in needed:
            raise InputError(missing(channel, where.column, names))
    return found


def missing(channel: str, column: str, names: Sequence[str]) -> str:
    near = difflib.get_close_matches(column, names, n=1, cutoff=0.5)
    hint = f"; nearest: {near[0]!r}" if near else ""
    has = ", ".join(repr(printable(name)[:40]) for name in names[:12]) + (", ..." if len(names) > 12 else "")
    return f"no column {column!r} ({channel}){hint}; the file has {has or 'none'}"
