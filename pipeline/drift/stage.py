"""`stopsheet drift`: a test's stops and the compound's pooled scatter -> drift.json."""

from pathlib import Path

import polars as pl

from pipeline.drift.analysis import analyse
from pipeline.drift.noise import Repeatability
from pipeline.drift.repeatability import read_repeatability
from pipeline.friction.by_hand import with_them
from pipeline.method import Method, from_stage_settings
from pipeline.method import drift as settings_file
from pipeline.results import read_table
from pipeline.results.drift import DriftByHand, Evidence, TestDrift
from pipeline.results.model import fields, read, renewed, stamp, write
from pipeline.results.summary import TestSummary

DEFAULT_SCATTER = "no pooled scatter of the compound; a cautious default and the test's own"


def run(*, folder: Path, settings: str, repeatability: Path | None, into: Path) -> None:
    """Read into/stops.parquet and summary.json, write into/drift.json."""
    names = {"stops": "stops.parquet", "excluded": "excluded.parquet", "summary": "summary.json"}
    inputs = {key: into / name for key, name in names.items()}
    if repeatability is not None:
        inputs["repeatability"] = repeatability
    head = {
        "test": folder.name,
        "method": into.parent.parent.name,
        "stamp": stamp("drift", settings_file.REVISION, settings, inputs),
    }
    why = read(inputs["summary"], TestSummary).unusable
    stops = None if why else read_table(inputs["stops"])
    if stops is None or not stops.height:
        write(into / "drift.json", renewed(unusable(folder.name, why or "no stop was found"), **head))
        return
    excluded, noise = read_table(inputs["excluded"]), read_repeatability(repeatability)
    write(into / "drift.json", renewed(of_tables(stops, excluded, from_stage_settings(settings), noise), **head))


def of_tables(stops: pl.DataFrame, excluded: pl.DataFrame, method: Method, noise: Repeatability | None) -> TestDrift:
    """drift.json of one test from its tables, without the test's name and stamp; noise: the compound's pooled scatter."""
    found = analyse(stops, method.drift, noise, use_suspect=method.friction.use_suspect)
    if noise is None:
        found = renewed(found, evidence=renewed(found.evidence, scatter_why=DEFAULT_SCATTER))
    return TestDrift.model_validate(
        {**fields(found), "test": "", "excluded": _with_excluded(stops, excluded, method, noise)}
    )


def _with_excluded(
    stops: pl.DataFrame, excluded: pl.DataFrame, method: Method, noise: Repeatability | None
) -> DriftByHand | None:
    """The verdict as it would be with the stops excluded by hand: who takes out the low checks must see what that
    hides."""
    if excluded.is_empty():
        return None
    found = analyse(with_them(stops, excluded), method.drift, noise, use_suspect=method.friction.use_suspect)
    said = {name: getattr(found, name) for name in DriftByHand.model_fields if name != "stops"}
    return DriftByHand(stops=excluded["stop"].to_list(), **said)


def unusable(test: str, why: str) -> TestDrift:
    """drift.json of a test that cannot be used."""
    evidence = Evidence(why=why, words=[why])
    return TestDrift(test=test, verdict="undetermined", unusable=why, why=why, evidence=evidence)
