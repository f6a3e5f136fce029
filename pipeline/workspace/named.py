"""What a run has, by name: methods, tests, compounds, pairs and rigs, those that are planned, and which belongs to which."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Self

from pipeline.archive.scan import Scan, slugs
from pipeline.method import Method, channels
from pipeline.workspace.config import Workspace
from pipeline.workspace.planned import Part


@dataclass(frozen=True)
class Named:
    """A workspace with its archive scanned and its methods read.

    part: what is to be planned, else all; seen_before: what the run that this is a part of saw and left among the results holds; nothing is looked at or left anew.
    """

    workspace: Workspace
    found: Scan
    read_methods: tuple[tuple[str, Method], ...]
    slug_of: tuple[tuple[str, str], ...]  # (compound, folder name)
    ingest_revision: int = channels.REVISION
    seen_before: bool = False
    part: Part | None = None

    def of_part(self, part: Part | None) -> Self:
        """The same where nothing is to be planned but a part of the archive (None: all): all else is known to be up to date."""
        return replace(self, part=part)

    @property
    def planned_tests(self) -> list[str]:
        return [test for test in self.tests if self.part is None or test in self.part.tests]

    @property
    def planned_compounds(self) -> list[str]:
        return [slug for slug in self.compounds if self.part is None or slug in self.part.compounds]

    @property
    def planned_pairs(self) -> list[tuple[str, str]]:
        """Those of the compared pairs of which one compound is planned."""
        return [pair for pair in self.compared if self.part is None or not self.part.compounds.isdisjoint(pair)]

    def as_seen(self) -> Self:
        """The same for a job on another machine: an edit meanwhile must not get into a run half way."""
        return replace(self, seen_before=True)

    @property
    def config(self) -> Path:
        return self.workspace.path

    @property
    def archive(self) -> Path:
        return self.workspace.archive

    @property
    def results(self) -> str:
        return str(self.workspace.results.resolve())

    @property
    def methods(self) -> list[str]:
        return list(self.workspace.methods)

    @property
    def compare(self) -> tuple[tuple[str, str], ...]:
        return self.workspace.compare

    @property
    def compared(self) -> list[tuple[str, str]]:
        """Folder names of the pairs of compounds to be compared that test cards name."""
        known = dict(self.slug_of)
        return [(known[a], known[b]) for a, b in self.workspace.compare_compounds if a in known and b in known]

    def compared_with(self, slug: str) -> list[str]:
        """Folder names of the comparisons of a compound."""
        return [f"{a}--{b}" for a, b in self.compared if slug in (a, b)]

    @property
    def tests(self) -> list[str]:
        return list(self.found.tests)

    @property
    def compounds(self) -> list[str]:
        """Folder names of the compounds."""
        return [slug for _, slug in self.slug_of]

    @property
    def rig_pages(self) -> list[str]:
        """Names of the rigs' pages."""
        return list(self.found.rig_pages.values())

    @staticmethod
    def patterns(names: Iterable[str]) -> list[str]:
        """Regular expressions that match the names and nothing else (never empty: an empty one would match all)."""
        return [re.escape(name) for name in names] or ["(?!)"]

    def folder(self, test: str) -> str:
        return str(self.archive / test)

    def wear(self, test: str) -> str | None:
        """The test's wear file relative to its folder."""
        name = self.found.wear.get(test)
        return Path(name).as_posix() if name else None

    def renamed(self, test: str) -> str:
        """The compound's folder name where it had to be changed to keep it apart from another; else empty."""
        compound = self.found.tests[test]
        if compound is None:
            return ""
        slug = dict(self.slug_of)[compound]
        alone = slugs([compound])[compound]
        return "" if slug == alone and slug != "unnamed" else slug

    def name_of(self, slug: str) -> str:
        return {s: name for name, s in self.slug_of}[slug]

    def tests_of(self, slug: str) -> list[str]:
        name = self.name_of(slug)
        return [test for test, compound in self.found.tests.items() if compound == name]

    def _slug_of_test(self, test: str) -> str | None:
        compound = self.found.tests[test]
        return None if compound is None else dict(self.slug_of)[compound]
