"""Golden tables as files: read, compared, and the rule by which they may be renewed."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from pathlib import Path

from tests.rig_samples.golden.stages import Stage, Written

Key = tuple[str, str, str]  # method, subject, figure
Figures = dict[Key, str]

DIGITS = 5
RELATIVE = 1e-3  # another processor or library sums and iterates in another order
ABSOLUTE = 2e-6  # a difference near nothing has no relative accuracy
SHOWN = 12  # moved figures that a message names


@dataclass(frozen=True)
class Table:
    """The figures of a stage and with what they were written."""

    written: Written
    figures: Figures


def shown(value: object) -> str:
    """A figure as the table holds it: numbers to five digits, words as they are, `none` for null, a list side by side."""
    if isinstance(value, list):
        return " ".join(shown(one) for one in value)
    if value is None:
        return "none"
    if isinstance(value, float):
        return f"{value:.{DIGITS}g}" if math.isfinite(value) else "none"
    return str(value)


def text(table: Table) -> str:
    """The file's text: comment lines with what it was written with, then a row for each figure."""
    out = io.StringIO()
    revisions = " ".join(f"{name}={number}" for name, number in table.written.revisions.items())
    out.write(f"# revisions: {revisions}\n# entries of docs/changes.md: {table.written.entries}\n")
    out.write(f"# newest entry: {table.written.newest}\n")
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(["method", "subject", "figure", "value"])
    rows.writerows([*key, value] for key, value in table.figures.items())
    return out.getvalue()


def read(path: Path) -> Table | None:
    """The table of a file; None where there is none yet."""
    if not path.is_file():
        return None
    lines = path.read_text(encoding="utf-8").splitlines()
    said = dict(line[2:].split(": ", 1) for line in lines[:3])
    revisions = {name: int(number) for name, number in (one.split("=") for one in said["revisions"].split())}
    rows = list(csv.reader(lines[4:]))
    figures = {(method, subject, figure): value for method, subject, figure, value in rows}
    return Table(Written(revisions, int(said["entries of docs/changes.md"]), said["newest entry"]), figures)


def moved(golden: Figures, found: Figures) -> list[str]:
    """Figures that differ beyond the tolerance, are gone or are new, in words."""
    lines = []
    for key in dict.fromkeys([*golden, *found]):
        before, after = golden.get(key, "absent"), found.get(key, "absent")
        if not _same(before, after):
            lines.append(f"{' '.join(key)}: {before} -> {after}")
    return lines


def _same(before: str, after: str) -> bool:
    pairs = zip(before.split(), after.split(), strict=False)
    return len(before.split()) == len(after.split()) and all(_same_word(a, b) for a, b in pairs)


def _same_word(before: str, after: str) -> bool:
    try:
        a, b = float(before), float(after)
    except ValueError:
        return before == after
    return math.isclose(a, b, rel_tol=RELATIVE, abs_tol=ABSOLUTE)


def missing_for_renewal(stage: Stage, golden: Table, changes: list[str], now: Written) -> list[str]:
    """What must be done before moved figures may be renewed; empty where all is done, or where nothing moved."""
    if not changes:
        return []
    wanted = []
    before = golden.written.revisions
    if lowered := [n for n, number in now.revisions.items() if number < before.get(n, number)]:
        wanted.append(f"the REVISION of {', '.join(lowered)} was lowered: it only rises")
    if not any(number > before.get(name, 0) for name, number in now.revisions.items()):
        where = " or ".join(f"pipeline/method/{name}.py" for name in stage.own)
        wanted.append(f"raise REVISION in {where}, that of the stage before it where the change was made, or that of "
                      "rig_samples/scenario.py where the samples changed")  # fmt: skip
    if now.entries <= golden.written.entries:
        wanted.append(f"add an entry to docs/changes.md that names {' or '.join(dict.fromkeys([stage.name, *stage.own]))}"
                      ", the stage before it, or samples")  # fmt: skip
    return wanted


def told(changes: list[str]) -> str:
    """Moved figures for a message, the first ones by name."""
    more = f"\n  and {len(changes) - SHOWN} more" if len(changes) > SHOWN else ""
    return "".join(f"\n  {line}" for line in changes[:SHOWN]) + more
