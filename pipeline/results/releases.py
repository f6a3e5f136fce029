"""statements.json: an issued sheet's statements held against today's results, and what they changed by."""

from __future__ import annotations

from typing import Literal

from pipeline.results.model import Result, given

Kind = Literal["method", "software", "data", "target", "not recorded"]


class Cause(Result):
    """What differs between the two results that a statement rests on."""

    kind: Kind = given(
        "settings; revision or version; recordings, cards, wear readings, tests; target or duties; nothing recorded"
    )
    what: list[str] = given("the differences in words")


class Statement(Result):
    """One statement of the issued results beside today's."""

    of: str = given("compound or test")
    part: str = given("part of the sheet, or conclusion")
    what: str = given("what is stated")
    issued: str = given("as issued")
    now: str | None = given("as today; null where today's results do not state it", default=None)
    holds: bool | None = given("whether it still holds; null where it cannot be said")
    why: str = given("why it holds or not")
    causes: list[Kind] = given(
        "what may have changed it: kinds of difference in what it rests on", default_factory=list
    )


class Subject(Result):
    """A compound or test and what differs in what its results rest on."""

    name: str = given("compound or test")
    causes: list[Cause] = given("differences", default_factory=list)


class NotCompared(Result):
    """A file of which nothing can be compared."""

    file: str = given("the file, below the method's results")
    why: str = given("why it cannot be compared")


class OfMethod(Result):
    """One method's results on either side."""

    a: str = given("folder of the issued results")
    b: str = given("folder of today's")
    subjects: list[Subject] = given("compounds and tests", default_factory=list)
    statements: list[Statement] = given("every statement, those that no longer hold first", default_factory=list)
    not_compared: list[NotCompared] = given("files that cannot be compared", default_factory=list)


class Release(Result):
    """statements.json."""

    a: str = given("the issued results")
    b: str = given("today's")
    methods: list[OfMethod] = given("by method", default_factory=list)
    unmatched: list[str] = given("methods that only one side has", default_factory=list)
    software: str = given("version of the software that compared them")
