"""sheet.json: the text of a compound's sheet, and every number on it with the file and key that it was read from."""

from __future__ import annotations

from typing import Literal

from pipeline.results.model import OfCompound, Result, Stamp, given
from pipeline.results.targets import Judged, Met, Rule


class TargetAnswer(Result):
    """A requirement of the target and its answer, as targets.json gives it."""

    target: str = given("what the target asks for")
    wanted: str = given("what it wants, as printed")
    found: str = given("what was found, as printed")
    met: Met = given("met, not met, or undecided, by the decision rule")
    conformity: float | None = given("probability that it is met", "1", default=None)
    rests_on: str = given("whose figure the answer rests on", default="")
    each: list[Judged] = given("every batch, or pair of batches, worst first", default_factory=list)


class PrintedNumber(Result):
    """A number on the sheet."""

    label: str = given("what it is")
    text: str = given("as printed, with its unit")
    value: float | int | None = given("value in `unit`", default=None)
    unit: str = given("unit as printed", default="")
    low: float | None = given("lower end of its interval", default=None)
    high: float | None = given("upper end of its interval", default=None)
    file: str = given("file that it was read from, below the method's results")
    key: str = given("JSON pointer of its key there, or words on how to get it from a table")
    factor: float | None = given("what the file's value was multiplied by for showing; null for 1", default=None)
    why: str | None = given("why there is no value", default=None)


class PrintedFigure(Result):
    """A figure on the sheet."""

    name: str = given("its name")
    caption: str = given("caption as printed")


class PrintedTable(Result):
    """A table on the sheet, or names and values, which have no heads."""

    caption: str = given("caption as printed; empty for names and values", default="")
    head: list[str] = given("heads of its columns", default_factory=list)
    rows: list[list[str]] = given("its cells as printed", default_factory=list)


class PrintedListing(Result):
    """Lines to copy; a print of pages shows the first of many."""

    caption: str = given("caption as printed", default="")
    text: str = given("the lines")


class PrintedSection(Result):
    """A part of the sheet."""

    title: str = given("heading")
    text: list[str] = given("paragraphs as printed", default_factory=list)
    figures: list[PrintedFigure] = given("its figures", default_factory=list)
    tables: list[PrintedTable] = given("its tables, and its lists of names and values", default_factory=list)
    listings: list[PrintedListing] = given("its lines to copy", default_factory=list)
    numbers: list[PrintedNumber] = given("its numbers in reading order", default_factory=list)


class Amended(Result):
    """An issue of the sheet in the history of its amendments."""

    issue: str = given("issue")
    date: str = given("its date, year-month-day")
    what: str = given("what changed")


class TitleBlock(Result):
    """What the user states of the sheet; null, and a blank line in print, where nobody stated it."""

    report_number: str | None = given("number of the report", default=None)
    issue: str | None = given("issue of the sheet", default=None)
    date: str | None = given("date of issue, year-month-day", default=None)
    prepared: str | None = given("who prepared the sheet", default=None)
    reviewed: str | None = given("who reviewed it", default=None)
    text: str | None = given("text for the customer", default=None)
    language: Literal["en", "de", "fr", "it", "es"] = given("language of the title block's own words", default="en")
    amendments: list[Amended] = given("history of the amendments, oldest first", default_factory=list)
    file: str | None = given("file that states it; null where there is none, or it was left out", default=None)
    why: str = given("why a field is null", default="not stated in a file of the title block")


class Sheet(OfCompound):
    """sheet.json of a compound."""

    title_block: TitleBlock = given("what the user states of the sheet", default_factory=TitleBlock)

    method_digest: str | None = given("digest of all settings and revisions of the method", default=None)
    software: str | None = given("version of the software", default=None)
    tests: list[str] = given("tests on the sheet", default_factory=list)
    decision: Rule | None = given("decision rule of the target; null without a target", default=None)
    targets: list[TargetAnswer] = given(
        "requirements and answers, worst first; empty without a target", default_factory=list
    )
    sections: list[PrintedSection] = given("the sheet's parts", default_factory=list)
    stamp: Stamp | None = given("what the sheet rests on, files by the names under which it cites them", default=None)
