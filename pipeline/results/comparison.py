"""comparison.json: two compounds side by side, question by question: what did the change of recipe do?

Specimens are the replicates; answers hold for the batches tested. Without a margin a question can be answered `different` (its
95 % interval excludes none) and never `equivalent`.
"""

from __future__ import annotations

from typing import Literal

from pipeline.results.batches import Verdict
from pipeline.results.model import Interval, Result, Stamp, given


class Compared(Result):
    """One question."""

    question: str = given("what is compared")
    unit: str = given("unit of the figures; empty for a number without one", default="")
    a: Interval = given("the first compound's figure with its 95 % interval, in `unit`")
    b: Interval = given("the second's, in `unit`")
    kind: Literal["difference", "ratio"] = given("a less b, or a over b")
    figure: Interval = given("difference or ratio with its 95 % interval")
    margin: list[float] | None = given("margin within which they count as equivalent", default=None)
    verdict: Verdict = given("answer")
    conditions: str = given("conditions common to both, or what is not")
    why: str = given("why it is undecided and what would decide it, or what the answer rests on")


class Shown(Result):
    """What stands side by side without an answer."""

    question: str = given("what is shown")
    a: str = given("of the first compound")
    b: str = given("of the second")
    why: str = given("why there is no answer")


class Fact(Result):
    """A fact of a batch from the table of facts."""

    compound: str = given("compound")
    batch: str = given("batch")
    facts: dict[str, str] = given("text by column", default_factory=dict)


class Comparison(Result):
    """comparison.json."""

    a: str = given("first compound, the one that the other is held against")
    b: str = given("second compound")
    method: str | None = given("method's id", default=None)
    unusable: str | None = given("why the stage could not do its work; null where it could", default=None)
    rows: list[Compared] = given("questions", default_factory=list)
    shown: list[Shown] = given("what has no answer", default_factory=list)
    facts: list[Fact] = given("facts of the batches, beside the differences; no cause is claimed", default_factory=list)
    notes: list[str] = given("what the comparison rests on", default_factory=list)
    stamp: Stamp | None = given("what the file rests on", default=None)
