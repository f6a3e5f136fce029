"""Channels of a test -> one row per stop, traces, summary, findings."""

from dataclasses import replace
from pathlib import Path

from pipeline.archive.card import Card, load_card
from pipeline.conditioning.calibrations import corrected
from pipeline.errors import InputError
from pipeline.findings import Finding, finding
from pipeline.method import Method, conditioning, from_stage_settings, reduction, segmentation
from pipeline.results import write_csv, write_parquet
from pipeline.results.findings import Findings, recorded
from pipeline.results.model import read, renewed, stamp, write
from pipeline.results.record import Record
from pipeline.results.summary import TestSummary
from pipeline.stops.calibrated import calibrations_of, told, told_of_refused
from pipeline.stops.excluded import without_excluded
from pipeline.stops.reduce import reduce_test
from pipeline.stops.result import Result
from pipeline.vocabulary import STOPS, TRACES, empty

REVISIONS = (conditioning.REVISION, segmentation.REVISION, reduction.REVISION)


def run(
    *,
    folder: Path,
    channels: Path,
    record: Path,
    settings: str,
    into: Path,
    rig: Path | None = None,
    uncorrected: str | None = None,
) -> None:
    """Reduce the test in `folder` from its channels file; a test that cannot be used gets empty files that say why.

    rig: the file of its rig, where that holds calibrations for the test; uncorrected: why that file is left out.
    """
    test, method = folder.name, into.parent.parent.name
    stamped = stamp("stops", max(REVISIONS), settings, _inputs(channels, folder, rig))
    result = _result(folder, from_stage_settings(settings), channels, read(record, Record), rig, into)
    why = result.summary.unusable
    found = recorded([*result.findings, *(told_of_refused(uncorrected) if why is None else [])])
    write_parquet(into / "stops.parquet", result.stops)
    write_csv(into / "stops.csv", result.stops, STOPS)
    write_parquet(into / "traces.parquet", result.traces)
    write_parquet(into / "excluded.parquet", result.excluded)
    write(into / "summary.json", renewed(result.summary, test=test, method=method, stamp=stamped))
    write(
        into / "stops_findings.json",
        Findings(test=test, method=method, unusable=why, findings=found, stamp=stamped),
    )


def _inputs(channels: Path, folder: Path, rig: Path | None) -> dict[str, Path]:
    return {"channels": channels, "card": folder / "test.yaml"} | ({"rig": rig} if rig else {})


def _result(folder: Path, method: Method, channels: Path, ingest: Record, rig: Path | None, into: Path) -> Result:
    if ingest.unusable is not None:
        return _nothing(folder.name, ingest.unusable, [])
    try:
        card = load_card(folder)
    except InputError as error:
        return _nothing(folder.name, str(error), [finding("card_invalid", str(error), file="test.yaml")])
    try:
        return reduced(card, method, channels, ingest, rig, into)
    except InputError as error:
        return _nothing(folder.name, str(error), [finding("test_unusable", str(error))])


def reduced(card: Card, method: Method, channels: Path, ingest: Record, rig: Path | None, room: Path) -> Result:
    """A test reduced from its channels file. Raises InputError where nothing of it can be used.

    rig: the file of its rig; room: a folder for a corrected copy of the channels, which is gone at the end.
    """
    calibrations = calibrations_of(card, rig, method)
    if card.recordings.holds == "summary":
        from pipeline.stops.from_summary import taken_over

        found = taken_over(card, channels, ingest)
        return without_excluded(card, replace(found, findings=[*found.findings, *told(calibrations, applied=False)]))
    with corrected(channels, calibrations, room) as true:
        found = reduce_test(card, method, true, ingest, calibrations)
    return without_excluded(card, replace(found, findings=[*found.findings, *told(calibrations)]))


def _nothing(test: str, why: str, findings: list[Finding]) -> Result:
    """Of a test that cannot be used: tables without rows, and why."""
    return Result(empty(STOPS), empty(TRACES), TestSummary(test=test, unusable=why), findings)
