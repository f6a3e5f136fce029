"""Channels of a test -> one row per stop, traces, summary, findings."""

from pathlib import Path
from typing import Any

from pipeline.archive.card import Card, load_card
from pipeline.errors import InputError
from pipeline.findings import finding
from pipeline.method import Method, conditioning, from_stage_settings, reduction, segmentation
from pipeline.results import read_json, stamp, write_json, write_parquet
from pipeline.stops.reduce import reduce_test
from pipeline.stops.result import Result
from pipeline.stops.unusable import write_unusable

REVISIONS = (conditioning.REVISION, segmentation.REVISION, reduction.REVISION)


def run(*, folder: Path, channels: Path, record: Path, settings: str, into: Path) -> None:
    """Reduce the test in `folder` from its channels file; a test that cannot be used gets empty files that say why."""
    method = from_stage_settings(settings)
    ingest = read_json(record)
    stamped = stamp("stops", max(REVISIONS), settings, {"channels": channels, "card": folder / "test.yaml"})
    names = {"test": folder.name, "method": into.parent.parent.name}
    found = []
    card: Card | None = None
    why = ingest.get("unusable")
    if why is None:
        try:
            card = load_card(folder)
        except InputError as error:
            why = str(error)
            found.append(finding("card_invalid", why, file="test.yaml"))
    if card is None or why is not None:
        write_unusable(into, **names, why=str(why), findings=found, stamp=stamped)
        return
    try:
        result = _reduced(card, method, channels, ingest)
    except InputError as error:
        found.append(finding("test_unusable", str(error)))
        write_unusable(into, **names, why=str(error), findings=found, stamp=stamped)
        return
    write_parquet(into / "stops.parquet", result.stops)
    write_parquet(into / "traces.parquet", result.traces)
    head: dict[str, Any] = {**names, "unusable": None}
    write_json(into / "summary.json", head | result.summary | {"stamp": stamped})
    write_json(
        into / "stops_findings.json", head | {"findings": [f.as_dict() for f in result.findings], "stamp": stamped}
    )


def _reduced(card: Card, method: Method, channels: Path, ingest: dict[str, Any]) -> Result:
    if card.recordings.holds == "summary":
        from pipeline.stops.from_summary import taken_over

        return taken_over(card, channels, ingest)
    return reduce_test(card, method, channels, ingest)
