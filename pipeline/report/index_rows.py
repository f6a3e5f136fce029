"""A test's row on the index: what stands out, in words, and its verdicts as marks with words, so that the worst come first.

The marks are those of the test's own page (`per_test_verdict`): one judgement, one word for it, two places. Tests are in
order of what is wrong with them: unusable, without a stop of use, a problem (a verdict speaks against the test), open
(something is in doubt), clear; within these by how many verdicts say so and by the worst finding.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.report import merge, numbers, per_test_verdict, verdicts
from pipeline.report.per_test_verdict import Glance
from pipeline.results.archive import TestState
from pipeline.results.drift import TestDrift
from pipeline.results.findings import Found
from pipeline.results.friction import TestFriction
from pipeline.results.summary import TestSummary
from pipeline.results.wear import TestWear

#: words of a row's state, worst first, with the tone of its mark and what they mean
STATES: tuple[tuple[str, str, str], ...] = (
    ("unusable", "unusable", "without a result"),
    ("no stop of use", "bad", "every stop is suspect or rejected"),
    ("problem", "bad", "a verdict speaks against it"),
    ("open", "open", "something is in doubt: not determined, not tested, or lost and regained"),
    ("clear", "good", "no verdict speaks against it"),
)
ALWAYS_TOLD = ("unusable", "rejected", "suspect")  # severities; a note (info) stands on the test's page


@dataclass(frozen=True)
class Said:
    """A sentence of what stands out, and the place in the test's page that it is about."""

    text: str
    place: str = ""


@dataclass(frozen=True)
class View:
    """The row: state in words with its tone, place in the order (worst first), verdicts, what stands out."""

    word: str
    tone: str
    order: tuple[int, ...]
    marks: list[Glance]
    said: list[Said]


def view(
    state: TestState,
    of_use: bool,
    summary: TestSummary,
    friction: TestFriction,
    drift: TestDrift,
    wear: TestWear,
    findings: Sequence[Found],
) -> View:
    """The row of a test; `of_use`: whether any stop can enter a model."""
    marks = [
        per_test_verdict.of_drift(drift),
        per_test_verdict.of_window(friction),
        per_test_verdict.of_balance(summary),
        per_test_verdict.of_wear(wear),
        per_test_verdict.of_counts(summary.stops.model_dump()),
    ]
    unusable = state.status == "unusable"
    tones = [one.tone for one in marks]
    place = 0 if unusable else 1 if not of_use else 2 if "bad" in tones else 3 if "open" in tones else 4
    word, tone, _ = STATES[place]
    worst = min((merge.RANK[item.severity] for item in findings), default=max(merge.RANK.values()))
    order = (place, -tones.count("bad"), worst, -tones.count("open"))
    said = [Said(numbers.worded(state.why))] if state.why else []
    if not unusable:
        said += drift_said(drift) + doubts_said(marks[1:])
    told = finding_said([item for item in findings if item.message != state.why])
    said += [Said(one.text, "findings") for one in told] if unusable else told  # its page draws no stop
    return View(word, tone, order, [] if unusable else marks, said)


def drift_said(drift: TestDrift) -> list[Said]:
    """A drift that speaks against the test: what, from which stop, how much, whether it came back."""
    if drift.verdict is None or verdicts.DRIFT[drift.verdict][0] == "good":
        return []
    _, sentences = verdicts.drift_sentences(drift)
    kept = [text for text in sentences if not text.startswith(("Why: ", "First affected stop", "Also seen"))]
    return [Said(" ".join(kept), "drift" if drift.onset_stop is None else f"stop-{drift.onset_stop}")]


def doubts_said(marks: Sequence[Glance]) -> list[Said]:
    """The verdicts in `marks` that are not good, those against the test first, as their words."""
    told = sorted((one for one in marks if one.tone != "good"), key=lambda one: one.tone != "bad")
    text = "; ".join(f"{one.name if place == 0 else one.name.lower()}: {one.word}" for place, one in enumerate(told))
    return [Said(f"{text}.")] if told else []


def finding_said(findings: Sequence[Found]) -> list[Said]:
    """The worst finding in its words, and how many others there are that take something away from the test."""
    told = sorted((f for f in findings if f.severity in ALWAYS_TOLD), key=lambda item: merge.RANK[item.severity])
    if not told:
        return []
    first = told[0]
    where = "" if first.stop is None else f", stop {first.stop}"
    others = [f"{sum(f.severity == kind for f in told[1:])} {kind}" for kind in ALWAYS_TOLD]
    more = ", ".join(text for text in others if not text.startswith("0 "))
    text = f"{first.severity.capitalize()}{where}: {numbers.worded(first.message)}{f'; and {more}' if more else ''}"
    return [Said(text, "findings" if first.stop is None else f"stop-{first.stop}")]


def counts(views: Sequence[View]) -> list[tuple[str, str, str, int]]:
    """(word, tone, meaning, number of tests) of every state that a test is in, worst first."""
    number = {word: sum(one.word == word for one in views) for word, _, _ in STATES}
    return [(word, tone, meaning, number[word]) for word, tone, meaning in STATES if number[word]]
