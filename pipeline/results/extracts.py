"""extracts.json: what was cut out of the files of the whole archive for each test and compound.

The extracts themselves are files of the same models as what they are cut from (`rigs.json`, `charts.json`, `precision.json`),
in the folder `extracts` of the test or compound. They are written anew only where their bytes change.
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pipeline.results.model import Result, given

FOLDER = "extracts"  # below a test's or a compound's folder
OF_TEST = ("rigs.json", "charts.json")
OF_COMPOUND = (*OF_TEST, "precision.json")


class Extracts(Result):
    """extracts.json of a method."""

    method: str | None = given("method's id", default=None)
    unusable: str | None = given("why the stage could not do its work", default=None)
    revision: Literal[1] = given("revision of what is cut out", default=1)
    files: dict[str, str] = given("digest of each extract, by its path below the method's folder", default_factory=dict)


def places(method_folder: Path, tests: list[str], compounds: list[str]) -> list[Path]:
    """Every extract of a method; compounds: names of their folders."""
    return [
        *(method_folder / "tests" / test / FOLDER / name for test in tests for name in OF_TEST),
        *(method_folder / "compounds" / slug / FOLDER / name for slug in compounds for name in OF_COMPOUND),
    ]
