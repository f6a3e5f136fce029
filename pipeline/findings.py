"""Findings: what was found wrong or odd, by test, file and stop.

A finding never fixes silently: it carries its evidence as numbers, says the consequence (its severity) and what to do.
The table of codes below is the only place where a code is defined; docs/findings.md is generated from it.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any, Literal

Severity = Literal["info", "suspect", "rejected", "unusable"]
RANK = {"info": 0, "suspect": 1, "rejected": 2, "unusable": 3}


@dataclass(frozen=True)
class Code:
    """A kind of finding: usual severity, what it means, what the engineer does about it."""

    severity: Severity
    meaning: str
    action: str


CODES: dict[str, Code] = {
    # the test as a whole
    "card_invalid": Code("unusable", "test.yaml cannot be used", "correct the key that the message names"),
    "no_recordings": Code("unusable", "no recording matches recordings.files", "check the pattern and the folder"),
    # recordings
    "recording_unreadable": Code("rejected", "a recording cannot be read", "export the recording again or remove it"),
    "recording_duplicate": Code("info", "a recording repeats an earlier one sample for sample", "remove the copy"),
    # schedule
    "stop_extra": Code("info", "a brake application that the schedule does not have", "check the rig's log"),
    "stop_missing": Code("info", "a scheduled stop has no recording", "look for the recording; its energy is counted from the schedule"),
    "stop_aborted": Code("rejected", "braking was broken off", "none: its energy and wear are counted, its mu is not"),
}  # fmt: skip


@dataclass(frozen=True)
class Finding:
    """One finding as it stands in findings.json."""

    code: str
    severity: Severity
    message: str
    stop: int | None = None
    file: str | None = None
    channel: str | None = None
    start_s: float | None = None
    end_s: float | None = None
    evidence: dict[str, Any] = field(default_factory=dict)
    action: str = ""

    def as_dict(self) -> dict[str, Any]:
        return asdict(self)


def finding(code: str, message: str, *, severity: Severity | None = None, **where: Any) -> Finding:
    """A finding of a known code, with the code's usual severity and action unless said otherwise.

    `where` takes stop, file, channel, start_s, end_s, evidence, action. An unknown code is a fault of ours (KeyError).
    """
    known = CODES[code]
    where.setdefault("action", known.action)
    return Finding(code=code, severity=severity or known.severity, message=message, **where)


def worst(severities: list[Severity]) -> Severity:
    return max(severities, key=RANK.__getitem__, default="info")
