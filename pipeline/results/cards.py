"""Where the cards of a compound's tests differ: told in each of its files whose numbers are computed with what
differs.
"""

from __future__ import annotations

from pipeline.results.model import Result, given


class CardValue(Result):
    """A value that some of the cards state."""

    value: str = given("as the page shows it")
    tests: list[str] = given("tests whose cards state it")


class CardDifference(Result):
    """A fact of the brake in which the tests' cards differ."""

    field: str = given("field of the card")
    enters: list[str] = given("numbers that are computed with it")
    values: list[CardValue] = given("which cards state what, most first")
