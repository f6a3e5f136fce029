"""Damage of a recording, summed over its chunks, as findings or as the reason not to use it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from pipeline.archive.card import REQUIRED_CHANNELS
from pipeline.errors import Complaint, InputError
from pipeline.findings import Finding, finding
from pipeline.recordings.chunk import Damage
from pipeline.recordings.timestamps import WRITTEN

SUSPECT_SHARE = 0.01  # of a recording's rows
UNUSABLE_SHARE = 0.5

TEXT = {
    "fields": "rows have another number of fields than the header and are left out",
    "number": "values are no numbers and are left out",
    "range": "values are beyond what any sensor reads and are left out",
    "absent": "values are marked as missing",
    "conversion": "values are left out, because their conversion cannot be applied",
}


ACCEPTED = {
    "fields": "as many fields in each row as in the header",
    "number": "numbers in most rows",
    "range": "values that a sensor reads",
    "absent": "values in most rows",
    "conversion": "a conversion that gives numbers",
}


def summed(damage: Sequence[Damage]) -> list[Damage]:
    """One note per kind and channel: counts added, place and example of the first."""
    total: dict[tuple[str, str | None], Damage] = {}
    for note in damage:
        key = (note.what, note.channel)
        total[key] = replace(total[key], count=total[key].count + note.count) if key in total else note
    return list(total.values())


def refuse_wreck(damage: Sequence[Damage], rows: int) -> None:
    """InputError when most values of a needed channel, or most rows, are damage: the card and the file do
    not fit."""
    for note in damage:
        all_rows = max(rows + (note.count if note.what == "fields" else 0), note.count)
        needed = note.channel is None or note.channel in ("time", *REQUIRED_CHANNELS)
        if needed and note.count > UNUSABLE_SHARE * max(all_rows, 1):
            where = f"{note.channel}: " if note.channel else ""
            words = f"{where}{note.count} of {all_rows} {TEXT[note.what]}{_example(note)}"
            mend = _hint(note).removeprefix("; ") or "export the recording again, or correct recordings in test.yaml"
            raise InputError(Complaint("", words, ACCEPTED[note.what], mend, note.line))


def findings_of(file: str, damage: Sequence[Damage], rows: int) -> list[Finding]:
    """A finding per kind and channel; suspect above SUSPECT_SHARE of the rows, else info.

    What a loss inside a braking does to a stop is judged where brakings are known.
    """
    found = []
    for note in damage:
        share = note.count / max(rows, 1)
        where = f"{note.channel}: " if note.channel else ""
        found.append(
            finding(
                "recording_damaged",
                f"{file}: {where}{note.count} {TEXT[note.what]}{_example(note)}",
                severity="suspect" if share > SUSPECT_SHARE else "info",
                file=file,
                channel=note.channel,
                evidence={"what": note.what, "count": note.count, "rows": rows, "line": note.line},
            )
        )
    return found


def complaints_of(damage: Sequence[Damage], rows: int) -> list[Complaint]:
    """What a look at a recording says of its damage, where a run would find it suspect; markers of missing values are none."""
    found = []
    for note in summed(damage):
        if note.what != "absent" and note.count > SUSPECT_SHARE * max(rows, 1):
            where = f"{note.channel}: " if note.channel else ""
            mend = _hint(note).removeprefix("; ") or "export the recording again; what is left stays usable"
            words = f"{where}{note.count} of {rows} {TEXT[note.what]}{_example(note)}"
            found.append(Complaint("", words, ACCEPTED[note.what], mend))
    return found


def _example(note: Damage) -> str:
    if note.what == "conversion":
        return f": {note.example}"
    where = f"line {note.line}" if note.line is not None else "the first"
    return f" ({where}: {note.example!r})" if note.example else ""


def _hint(note: Damage) -> str:
    if note.channel == "time" and re.match(WRITTEN, note.example):
        return (
            "; whether the day or the month comes first, say by dates: day_first or month_first beside unit: timestamp"
        )
    if note.channel == "time" and ":" in note.example:
        return "; with unit: timestamp they are read as ISO 8601, such as 2026-03-02T14:05:09.25 or 14:05:09"
    if note.what == "number" and "," in note.example:
        return "; is recordings.decimal ','?"
    if note.what == "number" and "." in note.example:
        return "; is recordings.decimal '.'?"
    if note.what == "fields":
        return "; check recordings.delimiter and decimal"
    return ""
