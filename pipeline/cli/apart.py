"""The files of a workspace by the test or compound that they belong to.

A file in a test's folder of the archive, and results and notes that a run keeps of a test or compound, tell of that one alone.
What is nobody's own (the config, the files that it names, the results of pairs) may concern all. Results of the whole archive and of rigs are nobody's and no matter
either: every plan looks at the stages that write them, and what others take of them is cut out for each.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any

from pipeline.workspace.planned import Part
from pipeline.workspace.run import Run

Entry = tuple[str, tuple[Any, ...]]  # path, its state
REST = ""
PLANNED_ALWAYS = "always"
OF_METHOD = ("rigs", ".made", ".beside", ".lost", ".again")  # folders of such stages and their notes below a method's
TESTS = [".given", "archive", "tests"]  # what they alone are given
KINDS = {"tests": "test", "compounds": "compound"}
GIVEN = {
    "recordings": "test",
    "wear": "test",
    "target": "test",
    "calibrations": "test",
    "compound": "compound",
    "members": "compound",
    "title_block": "compound",
}


class Apart:
    """Digests of entries, a test's, a compound's and the rest apart, as they pass through."""

    def __init__(self, run: Run) -> None:
        self._run, self._tests = run, frozenset(run.tests)
        self._archive, self._results = f"{run.archive}{os.sep}", f"{run.results}{os.sep}"
        self._states: dict[str, Any] = {}
        self._linked = False

    def given(self, entries: Iterable[Entry]) -> Iterator[Entry]:
        """Those of the archive."""
        for path, state in entries:
            folder = path.removeprefix(self._archive).split(os.sep)[0]
            yield self._added(f"test {folder}" if folder in self._tests else REST, path, state)

    def named(self, entries: Iterable[Entry]) -> Iterator[Entry]:
        """Files that the config names: whoever rests on one in a test's folder, be it a target or a rig's file, is another's too."""
        for path, state in entries:
            yield self._added(REST, path, state)

    def made(self, entries: Iterable[Entry]) -> Iterator[Entry]:
        """Those of the results."""
        for path, state in entries:
            parts = path.removeprefix(self._results).split(os.sep)
            yield self._added(owner(parts, self._tests, self._run.methods), path, state)

    def _added(self, whose: str, path: str, state: tuple[Any, ...]) -> Entry:
        if state and isinstance(state[0], str) and os.path.isdir(path):  # what is in it stands elsewhere
            self._linked = True
        if whose != PLANNED_ALWAYS:
            self._state(whose).update(repr((path, state)).encode("utf-8", "backslashreplace"))
        return path, state

    def _state(self, whose: str) -> Any:
        return self._states.setdefault(whose, hashlib.sha256())

    def digests(self, words: Iterable[str]) -> tuple[dict[str, str], str | None]:
        """(by test and compound, of the rest and of these words); the rest is None where a folder is linked."""
        found, of = self._run.found, compounds_of(self._run)
        for test in found.tests:
            rig = found.on_rigs[test][0]
            said = (
                of[test],
                found.wear[test],
                found.on_rigs[test],
                found.rig_pages.get(rig),
                test in found.summary_only,
            )
            self._state(f"test {test}").update(repr(said).encode("utf-8", "backslashreplace"))
        self._state(REST).update(repr(list(words)).encode("utf-8", "backslashreplace"))
        digests = {whose: state.hexdigest()[:32] for whose, state in self._states.items()}
        rest = digests.pop(REST)
        return digests, None if self._linked else rest


def owner(parts: list[str], tests: Collection[str], methods: Collection[str]) -> str:
    """Whose a file below the results is, by the parts of its path: `test <name>`, `compound <folder>`, nobody's, or of a stage over the
    whole archive, which every plan looks at.
    """
    if (parts[0] in methods and (len(parts) <= 2 or parts[1] in OF_METHOD)) or parts == TESTS:
        return PLANNED_ALWAYS
    if parts[0] == "channels" and len(parts) == 2:
        test = parts[1].removesuffix(".parquet").removesuffix(".json")
        return f"test {test}" if test in tests else REST
    if parts[0] == ".seen" and len(parts) == 2:
        return f"test {parts[1].removesuffix('.json')}"
    if parts[0] == ".given" and len(parts) > 2 and parts[1] in GIVEN:
        return f"{GIVEN[parts[1]]} {parts[-1]}"
    if len(parts) > 2 and parts[1] in KINDS:
        return f"{KINDS[parts[1]]} {parts[2]}"
    return REST


def compounds_of(run: Run) -> dict[str, str | None]:
    """Folder name of each test's compound."""
    slugs = dict(run.slug_of)
    return {test: None if compound is None else slugs[compound] for test, compound in run.found.tests.items()}


def part_of(run: Run, before: Mapping[str, str | None], differing: Collection[str]) -> Part:
    """Tests and compounds that differ (as `owner` has them) with the compounds of such tests, now and `before`."""
    now, compounds = compounds_of(run), frozenset(run.compounds)
    named = [key.partition(" ")[::2] for key in differing]
    tests = {name for kind, name in named if kind == "test"} | (before.keys() ^ now.keys())
    touched = {name for kind, name in named if kind == "compound"}
    touched |= {slug for of in (before, now) for test in tests if (slug := of.get(test)) is not None}
    return Part(frozenset(tests & now.keys()), frozenset(touched & compounds))


def with_siblings(run: Run, part: Part) -> Part:
    """The part with all tests of its compounds: the scatter pooled over these judges the drift of each."""
    return part | Part(
        frozenset(test for test, slug in compounds_of(run).items() if slug in part.compounds), frozenset()
    )
