"""Text cells to numbers, without guessing.

A cell is a number in the stated decimal notation, or empty (no sample), or a mark for a missing value, or
damage.
"""

from __future__ import annotations

from typing import Literal

import polars as pl

from pipeline.recordings.chunk import Damage

ABSENT = ("nan", "-nan", "+nan", "na", "n/a", "null", "none", "-", "--", "---")


def numbers_of(cells: pl.DataFrame, decimal: str, line: int | None = None) -> tuple[pl.DataFrame, list[Damage]]:
    """Every column as Float64, and what is damaged: empty cells are null, marks for missing and damage NaN.

    `line` is the file's line of the first row, where lines count.
    """
    plain = cells
    if decimal == ",":
        plain = cells.with_columns(pl.all().str.replace(",", ".", literal=True))
    values = plain.select(pl.all().cast(pl.Float64, strict=False))
    clean = values.null_count().row(0) == cells.null_count().row(0)
    # A dot in a file with decimal commas is a thousands separator or a foreign number: looked at cell by
    # cell.
    dotted = decimal == "," and any(cells.select(pl.all().str.contains(".", literal=True).any()).row(0))
    if clean and not dotted and all(values.select((pl.all().is_finite() | pl.all().is_null()).all()).row(0)):
        return values, []
    columns, damage = [], []
    for name in cells.columns:
        column, bad = numbers(cells[name], decimal)
        columns.append(column.alias(name))
        damage += damage_of(name, cells[name], column, bad, line)
    return pl.DataFrame(columns), damage


def numbers(cells: pl.Series, decimal: str) -> tuple[pl.Series, pl.Series]:
    """Float64 values of one column and the mask of damaged cells (bool).

    Infinities count as damage: no sensor reads one.
    """
    text = cells.cast(pl.String).str.strip_chars(" \t\r\u00a0")
    text = text.set(text == "", None)
    plain = text
    if decimal == ",":
        plain = text.set(text.str.contains(".", literal=True), "?").str.replace(",", ".", literal=True)
    values = plain.cast(pl.Float64, strict=False)
    unusable = text.is_not_null() & (values.is_null() | ~values.is_finite().fill_null(True))
    marked = text.str.to_lowercase().is_in(ABSENT).fill_null(False)
    values = values.set(unusable, float("nan"))
    return values, unusable & ~marked


def damage_of(name: str, cells: pl.Series, values: pl.Series, bad: pl.Series, line: int | None) -> list[Damage]:
    """Damage notes of one column; `line` is the file's line of the first cell, where lines count."""
    notes = []
    absent = values.is_nan().fill_null(False) & ~bad
    kinds: tuple[tuple[Literal["number", "absent"], pl.Series], ...] = (("number", bad), ("absent", absent))
    for what, mask in kinds:
        count = int(mask.sum())
        if count:
            first = int(mask.arg_max() or 0)
            notes.append(Damage(what, name, count, line + first if line is not None else None, str(cells[first])[:40]))
    return notes
