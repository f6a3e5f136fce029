"""The files of a workspace by the test or compound that they belong to.

A file in a test's folder of the archive, and results and notes that a run keeps of a test or compound, tell of that one alone.
What is nobody's own (the config, the files that it names, the results of pairs) may concern all. Results of the whole archive and of rigs are nobody's and no matter
either: every plan looks at the stages that write them, and what others take of them is cut out for each.
"""

from __future__ import annotations

import hashlib
import itertools
import os
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from pipeline.workspace.planned import Part
from pipeline.workspace.run import Run

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


@dataclass(frozen=True)
class Folder:
    """What stands in a folder: names and states in order of the names. latest: the latest change of a file (ns); linked: whether a name
    leads to a folder elsewhere.
    """

    place: str
    inside: list[tuple[str, str]]
    latest: int = 0
    linked: bool = False


class Apart:
    """Digests of what stands in the folders of a run, a test's, a compound's and the rest apart.

    kept: those of what was given of tests whose folders are not looked at again.
    """

    def __init__(self, run: Run, kept: Mapping[str, str] | None = None) -> None:
        self._run, self._tests, self._kept = run, frozenset(run.tests), kept or {}
        self._given: dict[str, Any] = {}
        self._made: dict[str, Any] = {}
        self._linked = False

    def given(self, folder: Folder) -> None:
        """One of the archive's."""
        parts = _below(folder.place, str(self._run.archive))
        self._add(self._given, folder, parts, lambda parts: self._test(parts[0]), whole=bool(parts))

    def named(self, folder: Folder) -> None:
        """Files that the config names: whoever rests on one in a test's folder, be it a target or a rig's file, is another's too."""
        self._add(self._given, folder, [], lambda parts: REST, whole=True)

    def made(self, folder: Folder) -> None:
        """One of the results."""
        parts = _below(folder.place, self._run.results)
        of_one = len(parts) > 2 and parts[1] in KINDS
        self._add(self._made, folder, parts, lambda parts: owner(parts, self._tests, self._run.methods), whole=of_one)

    def is_kept(self, name: str) -> bool:
        """Whether the folder of that name in the archive is not looked at again."""
        return f"test {name}" in self._kept

    def _test(self, name: str) -> str:
        return f"test {name}" if name in self._tests else REST

    def _add(
        self,
        states: dict[str, Any],
        folder: Folder,
        parts: list[str],
        owned: Callable[[list[str]], str],
        *,
        whole: bool,
    ) -> None:
        """whole: all in the folder is of one owner."""
        self._linked |= folder.linked
        if whole:
            _update(states, owned(parts), folder.place, folder.inside)
            return
        for entry in folder.inside:
            _update(states, owned([*parts, entry[0]]), folder.place, [entry])

    @cached_property
    def of_given(self) -> dict[str, str]:
        """Of what was given, by whose it is."""
        return {whose: _hex(state) for whose, state in self._given.items()} | dict(self._kept)

    def of_all_given(self, words: Iterable[str]) -> str:
        """Of all that was given, and of these words."""
        return _digest([*words, *map(repr, sorted(self.of_given.items()))])

    def of_made(self) -> str:
        return _digest(f"{whose} {_hex(state)}" for whose, state in sorted(self._made.items()))

    def digests(self, words: Iterable[str]) -> tuple[dict[str, str], str | None]:
        """(by test and compound, of the rest and of these words); the rest is None where a folder is linked."""
        found, of = self._run.found, compounds_of(self._run)
        said = dict.fromkeys([*self.of_given, *self._made], "")
        for test in found.tests:
            rig = found.on_rigs[test][0]
            told = (
                of[test],
                found.wear[test],
                found.on_rigs[test],
                found.rig_pages.get(rig),
                test in found.summary_only,
            )
            said[f"test {test}"] = repr(told)
        said[REST] = repr(list(words))
        said.pop(PLANNED_ALWAYS, None)
        digests = {
            whose: _digest([self.of_given.get(whose, ""), _hex(self._made.get(whose)), text])
            for whose, text in said.items()
        }
        rest = digests.pop(REST)
        return digests, None if self._linked else rest


def _below(place: str, root: str) -> list[str]:
    return place.removeprefix(root).strip(os.sep).split(os.sep) if place != root else []


def _update(states: dict[str, Any], whose: str, place: str, inside: list[tuple[str, str]]) -> None:
    """No name holds a NUL, so none can be taken for another's state."""
    if inside:
        text = "\0".join([place, *itertools.chain.from_iterable(inside), "\0"])
        states.setdefault(whose, hashlib.sha256()).update(text.encode("utf-8", "backslashreplace"))


def _hex(state: Any) -> str:
    return "" if state is None else state.hexdigest()[:32]


def _digest(words: Iterable[str]) -> str:
    return hashlib.sha256(repr(list(words)).encode("utf-8", "backslashreplace")).hexdigest()[:32]


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
