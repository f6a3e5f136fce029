"""Finding the mapped columns among those that a file has, and the units that their names end in.

A card's column is the file's as it is written; where there is none, the one that reads so without the unit behind it
(`Mb` for `Mb [Nm]`, `T1` for `T1_degC`), if only one does.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from functools import lru_cache

from pipeline.archive.card import CHANNELS, REQUIRED_CHANNELS
from pipeline.archive.scan import printable
from pipeline.archive.written import Channel
from pipeline.errors import Complaint, InputError
from pipeline.inputs.quantities import DIMENSIONS, reads_as

OPTIONAL = tuple(name for name in CHANNELS if name not in (*REQUIRED_CHANNELS, "time"))
OPEN_SPEEDS = ("1/s", "s^-1", "s-1")
TURNS = {"Hz": "rps", "rev/s": "rps", "1/sec": "rps"}
IN_BRACKETS = re.compile(r"^(.*?)\s*[\[({<]\s*([^\[\](){}<>]{1,40}(?:\([^()]{1,20}\))?)\s*[\])}>]\s*$")
# Behind a bare stroke or blank only words that mean nothing else: `p_in` is an inlet, `T_F` the front, `n_min` the least.
BEHIND = re.compile(
    r"^(.+?)[_ ](rpm|min-1|rad/s|Nm|kNm|daNm|N\.m|bar|mbar|kPa|MPa|psi|degC|degF|°C|°F|kmh|km/h|kph|mph|m/s|ms|sec|mm|um|µm)$"
)


def positions(
    header: Sequence[str], channels: Mapping[str, Channel], *, needed: Sequence[str] = ("time", *REQUIRED_CHANNELS)
) -> dict[str, int]:
    """Canonical name -> position in the header; optional channels that the file lacks are left out.

    Raises InputError naming the column, the nearest one that the file has, and what it has altogether.
    """
    names = [name.strip() for name in header]
    bare = [split(name)[0] for name in names]
    found = {}
    for channel, where in channels.items():
        column = where.column.strip()
        at = [i for i, name in enumerate(names) if name == column] or [
            i for i, name in enumerate(bare) if name == column
        ]
        if len(at) == 1:
            found[channel] = at[0]
        elif at and column in names:
            words = f"column {where.column!r} ({channel}) stands {len(at)} times in the header"
            raise InputError(Complaint("", words, "each name once", "rename one of the columns in the export"))
        elif at:
            either = " or ".join(repr(printable(names[i])[:40]) for i in at[:6])
            words = f"column {where.column!r} ({channel}) may be {either}"
            raise InputError(Complaint("", words, f"one of {either}", "write the one that is meant in full"))
        elif channel in needed:
            raise InputError(missing(channel, where.column, names))
    return found


def missing(channel: str, column: str, names: Sequence[str]) -> Complaint:
    """That a column is not there; without a file."""
    near = difflib.get_close_matches(column, names, n=1, cutoff=0.5)
    hint = f"; nearest: {near[0]!r}" if near else ""
    has = ", ".join(repr(printable(name)[:40]) for name in names[:12]) + (", ..." if len(names) > 12 else "")
    mend = f"write column: {printable(near[0])} in test.yaml" if near else "correct the column in test.yaml"
    return Complaint("", f"no column {column!r} ({channel}){hint}", f"the file has: {has or 'none'}", mend)


def units_in(header: Sequence[str], columns: Mapping[str, int]) -> dict[str, str]:
    """Units that the names of the columns found end in, by canonical name."""
    said = {channel: split(header[at].strip())[1] for channel, at in columns.items()}
    return {channel: unit for channel, unit in said.items() if unit}


@lru_cache(maxsize=1024)
def split(name: str) -> tuple[str, str]:
    """A column's name without the unit at its end, and the unit; "" where none stands there.

    In brackets anything that is a unit counts: `p (front)` is a name. A column that is a unit alone has no other name.
    """
    match = IN_BRACKETS.match(name)
    if match and match[1] and (match[2] in ("-", "1", "%", *OPEN_SPEEDS, *TURNS) or _is_unit(match[2])):
        return match[1], match[2]
    behind = BEHIND.match(name)
    return (behind[1], behind[2]) if behind else (name, "")


def _is_unit(text: str) -> bool:
    return any(reads_as(text, dimension) for dimension in DIMENSIONS)
