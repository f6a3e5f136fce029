"""What every reader yields: a stretch of rows, and what was wrong in it.

Long recordings come in several chunks, so that memory stays bounded whatever a file's size.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import polars as pl

CHUNK_ROWS = 250_000
ClockKind = Literal["time of day", "local", "zoned"]


@dataclass(frozen=True)
class Damage:
    """Values of one chunk that could not be used.

    what: fields (rows with too many or too few fields, left out), number (cells that are no number), range (values no
    sensor can mean), absent (NaN written in place of a value), conversion (raw values whose conversion cannot be
    applied; the example says why). channel: None for whole rows. line: of the first, where known. example: its text.
    """

    what: Literal["fields", "number", "range", "absent", "conversion"]
    channel: str | None
    count: int
    line: int | None = None
    example: str = ""


@dataclass(frozen=True)
class Chunk:
    """rows: Float64 columns under canonical names, in the file's units.

    null where the file has no sample at this time (channels of other rates), NaN where it has one that
    cannot be used. units: what the file itself says its channels are in, where it says so. clock: what kind of
    timestamps `time` is then made of, in microseconds; None where it counts in the card's unit.
    """

    rows: pl.DataFrame
    damage: list[Damage] = field(default_factory=list)
    units: dict[str, str] = field(default_factory=dict)
    clock: ClockKind | None = None
