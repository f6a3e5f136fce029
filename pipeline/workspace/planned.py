"""A part of the archive that a plan is made for, where nothing else differs: handed to the engine in a file.

The engine's plan grows with the stages that it looks at. For tests and compounds outside of the part it gets no rule: their results
are files that are there, like recordings.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from pipeline.results import write_json


@dataclass(frozen=True)
class Part:
    """tests: by name; compounds: by the name of their folder."""

    tests: frozenset[str]
    compounds: frozenset[str]

    def __or__(self, other: Part) -> Part:
        return Part(self.tests | other.tests, self.compounds | other.compounds)

    def write(self, place: Path) -> None:
        write_json(place, {"tests": sorted(self.tests), "compounds": sorted(self.compounds)})


def part_in(place: Path) -> Part:
    content = json.loads(place.read_text(encoding="utf-8"))
    return Part(frozenset(content["tests"]), frozenset(content["compounds"]))
