"""`stopsheet extracts`: rigs.json, charts.json and precision.json cut down to what each test and compound takes.

A file is written where its bytes change and left untouched where they do not: what rests on it is made again in the first
case alone. extracts.json lists them all with their digests.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from pipeline.archive.scan import scan, slugs
from pipeline.laboratory.extracts import (
    charts_of_compound,
    charts_of_test,
    precision_of_compound,
    rigs_of_compound,
    rigs_of_test,
)
from pipeline.results import beside, write_text
from pipeline.results.charts import Charts
from pipeline.results.extracts import FOLDER, Extracts
from pipeline.results.files import json_text
from pipeline.results.model import Result, read, write
from pipeline.results.precision import RigPrecision
from pipeline.results.rigs import Rigs


def run(*, archive: Path, results: Path, rigs: Path, charts: Path, precision: Path, into: Path) -> None:
    """Cut the three files of a method (`results` is its folder) and write into/extracts.json."""
    shared, charted, scatter = read(rigs, Rigs), read(charts, Charts), read(precision, RigPrecision)
    found = scan(archive, results.parent)
    cut: dict[str, Result] = {}
    for test in found.tests:
        place = f"tests/{test}/{FOLDER}"
        cut |= {f"{place}/rigs.json": rigs_of_test(shared, test), f"{place}/charts.json": charts_of_test(charted, test)}
    for compound, slug in slugs(found.compounds).items():
        tests = frozenset(test for test, of in found.tests.items() if of == compound)
        on = frozenset(found.on_rigs[test][0] for test in tests)
        place = f"compounds/{slug}/{FOLDER}"
        cut[f"{place}/rigs.json"] = rigs_of_compound(shared, tests, on)
        cut[f"{place}/charts.json"] = charts_of_compound(charted, compound, tests)
        cut[f"{place}/precision.json"] = precision_of_compound(scatter, compound)
    digests = {name: _kept(results / name, content) for name, content in cut.items()}
    beside.leave(into / "extracts.json", [results / name for name in digests])
    write(into / "extracts.json", Extracts(method=results.name, files=digests))


def _kept(place: Path, content: Result) -> str:
    """Write the file if it holds anything else; the digest of its bytes."""
    text = json_text(content.model_dump(mode="python", by_alias=True))
    wanted = text.encode("utf-8")
    if not place.is_file() or place.read_bytes() != wanted:
        write_text(place, text)
    return hashlib.sha256(wanted).hexdigest()[:16]
