"""Text cells to numbers, without guessing.

A cell is a number in the stated decimal notation, or empty (no sample), or a mark for a missing value, or
damage.
"""

from __future__ import annotations

import polars as pl

from pipeline.recordings.chunk import Damage

ABSENT = ("nan", "-nan", "+nan", "na", "n/a", "null", "none", "-", "--", "---")


def numbers(cells: pl.Series, decimal: str) -> tuple[pl.Series, pl.Series]:
    """Float64 values and the mask of damaged cells (bool); empty cells are null, marks for missing and
    damage NaN.

    Infinities count as damage: no sensor reads one.
    """
    if decimal == ".":
        values = cells.cast(pl.Float64, strict=False)
        if values.null_count() == cells.null_count() and values.is_finite().all():
            return values, pl.repeat(False, len(cells), dtype=pl.Boolean, eager=True)
    text = cells.cast(pl.String).str.strip_chars(" \t\r\u00a0")
    text = text.set(text == "", None)
    plain = text
    if decimal == ",":
        # A dot in a file with decimal commas is a thousands separator or a foreign number: refused, not
        # guessed.
        plain = text.set(text.str.contains(".", literal=True), "?").str.replace(",", ".", literal=True)
    values = plain.cast(pl.Float64, strict=False)
    unusable = text.is_not_null() & (values.is_null() | ~values.is_finite().fill_null(True))
    marked = text.str.to_lowercase().is_in(ABSENT).fill_null(False)
    values = values.set(unusable, float("nan"))
    return values, unusable & ~marked


def damage_of(channel: str, cells: pl.Series, values: pl.Series, bad: pl.Series, line: int | None) -> list[Damage]:
    """Damage notes of one column; `line` is the file's line of the first cell, where lines count."""
    notes = []
    absent = values.is_nan().fill_null(False) & ~bad
    for what, mask in (("number", bad), ("absent", absent)):
        count = int(mask.sum())
        if count:
            first = int(mask.arg_max() or 0)
            at = line + first if line is not None else None
            notes.append(Damage(what, channel, count, at, str(cells[first])[:40]))  # type: ignore[arg-type]
    return notes
