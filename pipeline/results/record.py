"""channels/<test>.json: what was read of a test's recordings, independent of any method."""

from __future__ import annotations

from typing import Literal

from pipeline.results.findings import Found
from pipeline.results.model import Result, Stamp, given


class Recording(Result):
    """One file of the test's recordings."""

    recording: int = given("number of the file, as column `recording` of the tables has it")
    file: str = given("its name, relative to the test's folder")
    rows: int = given("rows that were read")
    digest: str | None = given(
        "digest of all samples with their times; null of a reduced table or what cannot be read", default=None
    )
    first_time: float | None = given("first time, as the file counts", "s", default=None)
    last_time: float | None = given("last time", "s", default=None)
    duplicate_of: str | None = given("file that it repeats sample for sample; it is left out then", default=None)
    error: str | None = given("why it cannot be read", default=None)


class Record(Result):
    """What was read of a test's recordings."""

    test: str = given("test's id")
    unusable: str | None = given("why nothing of the test can be used; null where something can", default=None)
    holds: Literal["stop", "series", "summary"] | None = given("what a file holds, as the card says", default=None)
    clock_from: str | None = given(
        "midnight from which times count, where the recordings have timestamps", default=None
    )
    recordings: list[Recording] = given("every file in the order of its number", default_factory=list)
    files: dict[str, str] = given(
        "SHA-256, first 32 digits, of every file of the test's folder but its wear readings, as it was read; empty where no run listed them",
        default_factory=dict,
    )
    findings: list[Found] = given("findings about the recordings", default_factory=list)
    stamp: Stamp | None = given("what the file rests on", default=None)
