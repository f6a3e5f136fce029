"""rigs.json: shifts that every specimen of a rig shares from a dated event on, and tests that hold the same
recordings.
"""

from __future__ import annotations

from pipeline.results.findings import Found
from pipeline.results.model import Result, Stamp, given


class Event(Result):
    """A dated event of a rig, as rigs/<rig>.yaml states it."""

    date: str = given("date, ISO 8601")
    what: str = given("rebuild, calibration or sensor")
    note: str = given("remark", default="")


class Step(Result):
    """A step common to all specimens at an event, or why none could be looked for.

    Of friction in ln mu, of the energy balance in the energy ratio.
    """

    found: bool = given("whether it is significant, large enough to matter, and shared by all groups")
    step: float | None = given("step: after less before", "1", default=None)
    low: float | None = given("lower end of its 95 % interval", "1", default=None)
    high: float | None = given("upper end of its 95 % interval", "1", default=None)
    p: float | None = given("two-sided p", default=None)
    df: int | None = given("degrees of freedom", default=None)
    specimen_sd: float | None = given("standard deviation between specimens", "1", default=None)
    shared: bool | None = given("whether every group steps alike", default=None)
    why: str | None = given("why it is not found", default=None)
    groups: list[str] | None = given("batches compared; null where material plays no part", default=None)
    tests_before: int | None = given("tests before", default=None)
    tests_after: int | None = given("tests after", default=None)


class Examined(Result):
    """Two neighbouring states of a rig that both hold tests, and what stepped between them."""

    rig: str = given("rig")
    date: str = given("date of the last event between them, ISO 8601")
    events: list[Event] = given("events between them")
    shift_relative: float | None = given("relative shift of mu; null where none was found", "1", default=None)
    friction: Step = given("step of ln mu")
    energy_ratio: Step = given("step of the energy ratio")
    before: list[str] = given("tests before")
    tests: list[str] = given("tests that the shift touches")


class Copied(Result):
    """Two tests with recordings in common."""

    test: str = given("the test that counts no more where `whole`")
    of: str = given("the other")
    stops: int = given("stops in common")
    share: float = given("of the smaller test's stops", "1")
    whole: bool = given("whether they are one test in two folders")
    cards_differ_in: dict[str, list[str]] = given("by key: what the card of `test` and that of `of` say")


class OfRig(Found):
    """A finding about a rig or a copy, in each test that it touches."""

    test: str = given("test that it touches")


class Rigs(Result):
    """rigs.json of a method."""

    method: str | None = given("method's id", default=None)
    unusable: str | None = given("why the stage could not do its work", default=None)
    epochs: dict[str, str] = given("by test: state of its rig", default_factory=dict)
    examined: list[Examined] = given("every boundary between two states", default_factory=list)
    shifts: list[Examined] = given("those with a shift", default_factory=list)
    findings: list[OfRig] = given("rig_shift and test_copied, as in findings.json", default_factory=list)
    copies: list[Copied] = given("tests that hold the same recordings", default_factory=list)
    stamp: Stamp | None = given("what the file rests on", default=None)
