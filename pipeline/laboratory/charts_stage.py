"""`stopsheet charts`: control charts of rigs and batches over the whole archive -> charts.json of a method."""

from __future__ import annotations

from pathlib import Path

from pipeline.archive.rigs import Rig
from pipeline.archive.scan import scan
from pipeline.inputs.model import load
from pipeline.laboratory.charts import charts
from pipeline.laboratory.tests_of import load_tests, read_rigs
from pipeline.method import batches
from pipeline.results.model import renewed, stamp, write


def run(*, archive: Path, results: Path, rigs: Path, events: list[Path], settings: str, into: Path) -> None:
    """Read every test's results under `results` (a method's folder), `rigs` (its rigs.json) and `events` (the rigs'
    files); write into/charts.json.
    """
    shared = read_rigs(rigs)
    tests, inputs = load_tests(archive, results, shared, drift=True)
    stated = [load(path, Rig) for path in events]
    found = charts(tests, stated, shared.shifts, scan(archive, results.parent).rig_pages)
    read = inputs | {"rigs": rigs} | {path.name: path for path in events}
    write(
        into / "charts.json",
        renewed(found, method=results.name, stamp=stamp("charts", batches.REVISION, settings, read)),
    )
