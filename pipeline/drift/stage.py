"""`stopsheet drift`: a test's stops and the compound's pooled scatter -> drift.json."""

from pathlib import Path
from typing import Any

from pipeline.drift.analysis import analyse
from pipeline.drift.repeatability import read_repeatability
from pipeline.method import drift as settings_file
from pipeline.method import from_stage_settings
from pipeline.results import read_json, read_table, stamp, write_json


def run(*, folder: Path, settings: str, repeatability: Path | None, into: Path) -> None:
    """Read into/stops.parquet and summary.json, write into/drift.json."""
    inputs = {"stops": into / "stops.parquet", "summary": into / "summary.json"}
    if repeatability is not None:
        inputs["repeatability"] = repeatability
    summary = read_json(inputs["summary"])
    if summary.get("unusable"):
        body = unusable(summary["unusable"])
    else:
        stops = read_table(inputs["stops"])
        method = from_stage_settings(settings)
        noise = read_repeatability(repeatability)
        body = (
            analyse(stops, method.drift, noise, use_suspect=method.friction.use_suspect)
            if stops.height
            else unusable("no stop was found")
        )
        if noise is None and "evidence" in body:
            body["evidence"]["scatter_why"] = "no pooled scatter of the compound; a cautious default and the test's own"
    head: dict[str, Any] = {"test": folder.name, "method": into.parent.parent.name}
    write_json(into / "drift.json", head | body | {"stamp": stamp("drift", settings_file.REVISION, settings, inputs)})


def unusable(why: str) -> dict[str, Any]:
    """drift.json of a test that cannot be used."""
    return {
        "unusable": why, "verdict": "undetermined", "onset_stop": None, "onset_low": None, "onset_high": None,
        "mu_loss": None, "mu_loss_share": None, "recovered": None, "also": [], "evidence": {"why": why, "words": [why]},
        "charts": None, "why": why,
    }  # fmt: skip
