"""Facts of batches from a table: columns compound, batch, then anything (density, porosity, notes), the unit in the column's name.

A table that cannot be read is left out whole, a bad row alone; either is told in one line with file, line, what is wrong and what
to do. Facts are shown beside the batches' figures and enter no number.
"""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import Complaint, InputError, Unfit
from pipeline.inputs.scalars import as_text

LARGEST = 2_000_000  # bytes
KEYS = ("compound", "batch")
MOST_COLUMNS = 40


@dataclass(frozen=True)
class Facts:
    """columns: names of the facts; rows: texts by (compound, batch) in the order of the columns; problems: rows left out."""

    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, str, tuple[str, ...]], ...] = ()
    problems: tuple[Complaint, ...] = ()

    def of(self, compound: str) -> dict[str, tuple[str, ...]]:
        """Texts of each batch of a compound."""
        return {batch: values for name, batch, values in self.rows if name == compound}


def number(text: str) -> float | None:
    """A fact as a number, a decimal comma read too; None where it is none."""
    try:
        value = float(text.replace(",", ".")) if text.count(",") <= 1 else math.nan
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def read_facts(path: Path) -> Facts:
    """The table. Raises InputError in one line where nothing of it can be used."""
    try:
        raw = path.read_bytes()
    except OSError as error:
        words = f"cannot be read ({error.strerror})"
        raise InputError(
            Complaint(path.name, words, "a table as CSV", "correct `facts` in the config or leave it out")
        ) from error
    if len(raw) > LARGEST:
        words = f"larger than {LARGEST // 1_000_000} MB"
        raise InputError(Complaint(path.name, words, "a table with a line a batch", "name that table"))
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise InputError(Complaint(path.name, "not UTF-8", "UTF-8", "save it as CSV with UTF-8", line)) from None
    first = text.splitlines()[0] if text.splitlines() else ""
    delimiter = max(",;\t", key=first.count)
    try:
        table = list(csv.reader(io.StringIO(text), delimiter=delimiter, strict=True))
    except csv.Error as error:
        words = f"not readable as CSV ({error})"
        raise InputError(
            Complaint(path.name, words, "cells between two quotes, or without", "mend the quotes", 1)
        ) from error
    head = [cell.strip() for cell in table[0]] if table else []
    missing = [key for key in KEYS if key not in head]
    if missing:
        words, accepted = f"no column {' and '.join(missing)}", "compound, batch, then any further columns"
        raise InputError(Complaint(path.name, words, accepted, "name the columns in the first line", 1))
    if len(set(head)) < len(head) or "" in head or len(head) > MOST_COLUMNS:
        words = f"columns without a name, twice, or more than {MOST_COLUMNS}"
        raise InputError(Complaint(path.name, words, f"at most {MOST_COLUMNS} names", "name each once", 1))
    return _facts(path.name, head, table)


def _facts(name: str, head: list[str], table: list[list[str]]) -> Facts:
    columns = tuple(cell for cell in head if cell not in KEYS)
    rows: dict[tuple[str, str], tuple[str, ...]] = {}
    problems, twice = [], set()
    for line, cells in enumerate(table[1:], start=2):
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(head):
            words = f"{len(cells)} cells where the first line has {len(head)}"
            problems.append(Complaint(name, words, f"{len(head)} cells", "mend the line", line))
            continue
        content = dict(zip(head, (" ".join(cell.split()) for cell in cells), strict=True))
        try:
            key = (as_text(content["compound"]), as_text(content["batch"]))
            values = tuple(content[column] and as_text(content[column]) for column in columns)
        except ValueError as error:
            bad = Unfit.of(error)
            problems.append(Complaint(name, f"a cell: {bad.found}", bad.accepted, "mend it", line))
            continue
        if key in rows:
            twice.add(key)
            words = f"batch {key[1]} of {key[0]} stands twice, neither is used"
            problems.append(Complaint(name, words, "each batch once", "keep one", line))
        rows[key] = values
    kept = tuple((*key, values) for key, values in rows.items() if key not in twice)
    return Facts(columns, kept, tuple(problems))
