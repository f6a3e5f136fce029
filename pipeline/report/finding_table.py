"""The findings of a test as a table: one row a finding, or one row for many of a kind that differ only in their
stop.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from pipeline.report import numbers, verdicts
from pipeline.results.findings import Found

FEW = 5  # so many findings of one kind stand one by one


@dataclass(frozen=True)
class Row:
    """A row of the table; of several findings `stops` are their stops in words and `members` the rows it stands for."""

    code: str
    severity: str
    stop: int | None
    message: str
    action: str
    where: str
    evidence_text: str
    stops: str = ""
    members: list[Row] = field(default_factory=list)


def rows(findings: Sequence[Found]) -> list[Row]:
    """Rows in the findings' order; more than a few of one code, severity and channel share a row with their stops."""
    kinds: dict[tuple[object, ...], list[Found]] = {}
    for item in findings:
        many = item.stop is not None
        key = (item.code, item.severity, item.channel) if many else (len(kinds), id(item))
        kinds.setdefault(key, []).append(item)
    found = []
    for members in kinds.values():
        single = [_row(item) for item in members]
        found += single if len(single) <= FEW else [_together(members, single)]
    return found


def _row(item: Found) -> Row:
    where = [text for text in (item.file, item.channel) if text]
    if item.start_s is not None:
        end = f" to {item.end_s:.2f}" if item.end_s is not None else ""
        where.append(f"{item.start_s:.2f}{end} s")
    evidence = "; ".join(f"{name}: {value}" for name, value in verdicts.evidence_rows(item.evidence))
    return Row(
        code=item.code,
        severity=item.severity,
        stop=item.stop,
        message=numbers.worded(item.message),
        action=numbers.worded(item.action),
        where=", ".join(where),
        evidence_text=evidence,
    )


def _together(members: Sequence[Found], single: list[Row]) -> Row:
    first = single[0]
    return replace(
        first,
        stop=None,
        stops=ranges(sorted({item.stop for item in members if item.stop is not None})),
        message=f"{first.message} (the first of {len(members)} of this kind)",
        where=members[0].channel or "",
        evidence_text=_spread(members),
        members=single,
    )


def _spread(members: Sequence[Found]) -> str:
    """The evidence from the smallest to the largest, of what is a number in all: the row quotes one finding, which may be the mildest."""
    said = []
    for key in members[0].evidence:
        values = [value for item in members if numbers.is_number(value := item.evidence.get(key))]
        if len(values) == len(members):
            ends = dict.fromkeys(verdicts.one(end) for end in (min(values), max(values)))
            said.append(f"{numbers.words(key)}: {' to '.join(ends)}")
    return "; ".join(said)


def ranges(stops: list[int]) -> str:
    """`1, 27\u201342, 81` of sorted stop numbers."""
    runs: list[list[int]] = []
    for stop in stops:
        if runs and stop == runs[-1][1] + 1:
            runs[-1][1] = stop
        else:
            runs.append([stop, stop])
    return ", ".join(str(a) if a == b else f"{a}\u2013{b}" for a, b in runs)
