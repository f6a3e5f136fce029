"""`stopsheet precision`: repeatability and reproducibility over the whole archive -> precision.json of a method."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import get_args

from pipeline.laboratory.pace import paces
from pipeline.laboratory.precision import of_quantity
from pipeline.laboratory.readings import LabTest, readings
from pipeline.laboratory.tests_of import load_tests, read_rigs
from pipeline.method import batches
from pipeline.results.model import renewed, stamp, write
from pipeline.results.precision import Quantity, RigPrecision

QUANTITIES: tuple[Quantity, ...] = get_args(Quantity)


def run(*, archive: Path, results: Path, rigs: Path, settings: str, into: Path) -> None:
    """Read every test's results under `results` (a method's folder) and `rigs` (its rigs.json); write
    into/precision.json.
    """
    tests, inputs = load_tests(archive, results, read_rigs(rigs), drift=True)
    stamped = stamp("precision", batches.REVISION, settings, inputs | {"rigs": rigs})
    write(into / "precision.json", renewed(precision(tests), method=results.name, stamp=stamped))


def precision(tests: Sequence[LabTest]) -> RigPrecision:
    """precision.json without its heading."""
    compounds = sorted({t.compound for t in tests})
    found = []
    for quantity in QUANTITIES:
        own = [readings([t for t in tests if t.compound == name], quantity) for name in compounds]
        found += of_quantity(quantity, own)
    return RigPrecision(quantities=found, pace=paces(tests))
