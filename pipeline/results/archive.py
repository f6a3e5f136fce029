"""archive.json of a method: every test of the archive with its state, what was skipped or left out, and results left over."""

from __future__ import annotations

from typing import Literal

from pipeline.results.model import Result, given

Status = Literal["ok", "unusable", "summary"]


class TestState(Result):
    """A test of the archive."""

    __test__ = False  # not a test class, whatever its name says to a test collector

    test: str = given("test's id")
    compound: str | None = given("compound, as the card names it", default=None)
    status: Status = given("ok, unusable, or summary: a kept table of reduced rows")
    why: str | None = given("why it is unusable, or what to mind", default=None)


class Skipped(Result):
    """A folder of the archive that is no test of the run."""

    folder: str = given("its name")
    why: str = given("why it is none")


class LeftOut(Result):
    """A target, duty or rig file that is not used."""

    file: str = given("its name")
    why: str = given("why it is not")


class LeftOver(Result):
    """A folder of results that no run renews any more."""

    folder: str = given("below the method's results")
    why: str = given("why no run makes it, and what to do")


class Archive(Result):
    """archive.json of a method."""

    method: str = given("method's id")
    tests: list[TestState] = given("every test", default_factory=list)
    skipped: list[Skipped] = given("folders that are no test", default_factory=list)
    left_out: list[LeftOut] = given("files that are not used", default_factory=list)
    left_over: list[LeftOver] = given("results of what is no longer in the archive", default_factory=list)
    software: str = given("version of the software")
