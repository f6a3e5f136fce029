"""A part of the archive that a plan is made for, where nothing else differs: handed to the engine in a file.

The engine's plan grows with the stages that it looks at. For tests and compounds outside of the part it gets no rule: their results
are files that are there, like recordings. Stages over all tests wait for those of the part alone (`by_members`). A part is of an archive as it was looked at: where a test was added meanwhile, taken out or
given to another compound, what all tests enter rests on stages outside of the part, and all is planned.
"""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

from pipeline.archive.scan import Scan
from pipeline.results import write_json


@dataclass(frozen=True)
class Part:
    """tests: by name; compounds: by the name of their folder."""

    tests: frozenset[str]
    compounds: frozenset[str]

    def __or__(self, other: Part) -> Part:
        return Part(self.tests | other.tests, self.compounds | other.compounds)

    def write(self, place: Path, found: Scan) -> None:
        """found: the archive that it is a part of."""
        write_json(place, {"tests": sorted(self.tests), "compounds": sorted(self.compounds), "of": found.digest})


def part_in(place: Path, found: Scan) -> Part | None:
    """None where the archive is another by now."""
    content = json.loads(place.read_text(encoding="utf-8"))
    return Part(frozenset(content["tests"]), frozenset(content["compounds"])) if content["of"] == found.digest else None


def by_members(engine_notes: ModuleType, rules: Collection[str], results: str) -> None:
    """Let the engine not compare which results of tests and compounds these rules took: a plan of a part gives them fewer.

    Which tests there are they learn from a file of their own (`Run.tests_file`), so that a test more or less is seen all the same.
    engine_notes: the engine's module of its memory of what was made of what; results: what stands before the paths of results.
    """
    for kind in vars(engine_notes).values():
        if isinstance(kind, type) and "_input" in vars(kind):
            _by_members(kind, rules, results)


def _by_members(kind: Any, rules: Collection[str], results: str) -> None:
    usual = kind._input

    def taken(notes: Any, job: Any) -> list[str]:
        files: list[str] = usual(notes, job)
        return [file for file in files if not _of_one(file.removeprefix(results))] if job.rule.name in rules else files

    kind._input = taken


def _of_one(file: str) -> bool:
    """Whether it is of one test or compound: `<method>/tests/<test>/<name>`."""
    return file.split("/")[1:2] in (["tests"], ["compounds"])
