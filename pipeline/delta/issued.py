"""Statements of an issued sheet.json held against another, read without regard to the version that wrote them.

A number holds where today's lies in the interval that was issued and today's interval is no wider than that by a quarter: who relied on
what was issued relied on how well it was known; one issued without an interval where it is printed alike or
moved by less than half a per cent (a count: where it is the same). An answer to a target holds where it is the same word. What
today's sheet does not state can neither hold nor fail.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

SMALL, WIDER = 0.005, 1.25
NO_INTERVAL = "moved, and no interval was issued"


@dataclass(frozen=True)
class Said:
    """A number or answer of a sheet: where it stands, what it is, as printed, its value and interval, the file behind it."""

    part: str
    what: str
    text: str
    value: float | None = None
    low: float | None = None
    high: float | None = None
    file: str = ""
    word: bool = False


def said(sheet: Mapping[str, Any]) -> dict[tuple[str, str, int], Said]:
    """Every number and target of a sheet by part, label and place among equal ones."""
    found: dict[tuple[str, str, int], Said] = {}

    def add(one: Said) -> None:
        place = sum(1 for part, what, _ in found if (part, what) == (one.part, one.what))
        found[one.part, one.what, place] = one

    for row in _rows(sheet.get("targets")):
        if isinstance(row.get("target"), str) and isinstance(row.get("met"), str):
            add(Said("Targets", row["target"], row["met"], word=True, file="targets.json"))
    for section in _rows(sheet.get("sections")):
        for number in _rows(section.get("numbers")):
            value, low, high = (_number(number.get(key)) for key in ("value", "low", "high"))
            label, text = str(number.get("label", "")), str(number.get("text", ""))
            add(Said(str(section.get("title", "")), label, text, value, low, high, str(number.get("file", ""))))
    return found


def _rows(value: Any) -> list[dict[str, Any]]:
    return [row for row in value if isinstance(row, dict)] if isinstance(value, list) else []


def _number(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def judged(old: Said, new: Said | None) -> tuple[bool | None, str]:
    """Whether an issued statement still holds, and why."""
    if new is None:
        return None, "today's sheet does not state it"
    if old.word:
        return (True, "the same answer") if old.text == new.text else (False, "another answer")
    if old.value is None or new.value is None:
        same = old.value is None and new.value is None
        return same, "given by neither" if same else "given by today's only" if old.value is None else "no longer given"
    if old.low is not None and old.high is not None:
        if not old.low <= new.value <= old.high:
            return False, "outside the interval issued"
        return _as_sure(old.high - old.low, new)
    if old.text == new.text:
        return True, "printed alike"
    whole = old.value == int(old.value) and new.value == int(new.value)
    close = not whole and abs(new.value - old.value) <= SMALL * abs(old.value)
    return close, "moved by less than half a per cent" if close else NO_INTERVAL


def _as_sure(issued: float, new: Said) -> tuple[bool, str]:
    """Whether a number inside the interval issued, of that width, is known about as well today."""
    if new.low is None or new.high is None:
        return False, "inside the interval issued, but has no interval today"
    width = new.high - new.low
    if issued > 0 and width > WIDER * issued:
        return (
            False,
            f"inside the interval issued, but today's is {width / issued:.2g} times as wide: less sure than was said",
        )
    return True, "inside the interval issued"
