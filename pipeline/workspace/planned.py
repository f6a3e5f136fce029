"""A part of the archive that a plan is made for, where nothing else differs: handed to the engine in a file.

The engine's plan grows with the stages that it looks at. For tests and compounds outside of the part it gets no rule: their results
are files that are there, like recordings. A part is of an archive as it was looked at: where a test was added meanwhile, taken out or
given to another compound, what all tests enter rests on stages outside of the part, and all is planned.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

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
