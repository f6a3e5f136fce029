"""findings.json of a test: what was found wrong or odd, worst first; and what single stages found,
stops_findings.json and wear_findings.json."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Literal

from pipeline.findings import Finding
from pipeline.results.model import OfTest, Result, Stamp, given


class Found(Result):
    """One finding."""

    code: str = given("kind of finding, as the page of findings lists it")
    severity: Literal["info", "suspect", "rejected", "unusable"] = given("what follows from it")
    stop: int | None = given("stop as run, where it is about one", default=None)
    file: str | None = given("recording or file it is about", default=None)
    channel: str | None = given("channel it is about", default=None)
    start_s: float | None = given("where it begins, as the time channel counts", "s", default=None)
    end_s: float | None = given("where it ends", "s", default=None)
    message: str = given("in words")
    evidence: dict[str, Any] = given("figures behind it by name; each kind has its own", default_factory=dict)
    action: str = given("what to do about it", default="")


class Findings(OfTest):
    """Findings of a test, of all its stages or of one."""

    findings: list[Found] = given("worst first in findings.json, else as they were met", default_factory=list)
    stamp: Stamp | None = given("what the file of one stage rests on", default=None)


def recorded(findings: Iterable[Finding]) -> list[Found]:
    """Findings as they stand in a file."""
    return [Found.model_validate(finding.as_dict()) for finding in findings]
