"""What is wrong with an archive, or a whole workspace, before anything is reduced.

Every settings file and card, every recording's head, and the brakings of all recordings where they are few, of some of each test
where they are many; held against the card. What a run would refuse is found by the run's own functions.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from pipeline.archive.card import Card, load_card
from pipeline.archive.scan import Scan, holds_card, printable, refuse_empty, scan
from pipeline.errors import Complaint, InputError
from pipeline.inputs.model import load
from pipeline.inputs.yaml_text import line_of, text_of
from pipeline.workspace.check_of_test import CARD, Budget, Problem, TestLook, complaints_of, looked
from pipeline.workspace.config import ConfigFile, Workspace, matched
from pipeline.workspace.run import load_run

HEADS = 3000  # of recordings looked at in all; in a larger archive a few of each test
READ_BYTES = 400 << 20  # of recordings read through in all; of more the first and a few of each test
MANY = 200  # tests, of each of which only one recording is then read through
SHOWN = 3


@dataclass(frozen=True)
class Checked:
    """beside: problems of files beside the tests; heads: recordings whose heads were looked at."""

    looks: list[TestLook]
    beside: list[Problem]

    @property
    def problems(self) -> list[Problem]:
        return [*self.beside, *(one for look in self.looks for one in look.problems)]

    @property
    def recordings(self) -> int:
        return sum(look.recordings for look in self.looks)

    @property
    def heads(self) -> int:
        return sum(look.heads for look in self.looks)


def checked_place(place: Path) -> Checked:
    """Problems of a config file's workspace or of an archive folder. Raises InputError for a wrong place or config."""
    beside: list[Problem] = []
    budget = Budget()
    one = place.is_dir() and holds_card(place)
    if place.is_dir():
        archive = place.resolve().parent if one else place
    elif place.is_file():
        loaded = load_run(place)
        archive = loaded.workspace.archive
        budget = Budget(methods=tuple(method for _, method in loaded.read_methods))
        beside += _of_workspace(place, loaded.workspace)
    else:
        words = f"{printable(str(place))} is not there"
        raise InputError(Complaint("", words, "a config file, an archive or a test's folder", "correct the path"))
    found = _alone(scan(archive), place.resolve().name) if one else scan(archive)
    refuse_empty(found, archive)
    refused = {name for name, _ in found.refused}
    beside += [Problem(name, "left_out", _folder(why)) for name, why in found.skipped if name not in refused]
    looks = [TestLook(name, problems=(Problem(name, "unusable", _folder(why)),)) for name, why in found.refused]
    looks += _tests(archive, found, budget)
    return Checked(sorted(looks, key=lambda look: look.test), sorted(beside, key=lambda p: p.where))


def _folder(why: str) -> Complaint:
    found, _, mend = why.partition("; ")
    return Complaint("", found, "a test's folder with its test.yaml", mend or "correct or remove it")


def _alone(found: Scan, test: str) -> Scan:
    """One test of an archive."""
    return replace(
        found,
        tests={name: compound for name, compound in found.tests.items() if name == test},
        skipped=tuple(one for one in found.skipped if one[0] == test),
        refused=tuple(one for one in found.refused if one[0] == test),
    )


def _tests(archive: Path, found: Scan, budget: Budget) -> Iterator[TestLook]:
    from pipeline.recordings.heads import listed

    looks = {test: TestLook(test) for test in found.tests}
    cards: dict[str, tuple[Card, list[Path]]] = {}
    for test in found.tests:
        folder = archive / test
        try:
            card = load_card(folder)
            planned = sum(block.stops for block in card.blocks)
            looks[test] = TestLook(test, scheduled=planned, channels=tuple(card.recordings.channels))
            cards[test] = card, listed(folder, card)
        except InputError as error:
            refused = [Problem(test, "unusable", one) for one in complaints_of(error, CARD, folder)]
            looks[test] = replace(looks[test], problems=tuple(refused))
    paths = [path for _, several in cards.values() for path in several]
    few = Budget.few if len(cards) < MANY else 1
    whole = len(paths) <= HEADS and sum(map(_size, paths)) <= READ_BYTES
    budget = replace(budget, heads=len(paths) <= HEADS, whole=whole, few=few)
    for test, look in looks.items():
        yield looked(archive / test, *cards[test], look, budget) if test in cards else look


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _of_workspace(place: Path, workspace: Workspace) -> Iterator[Problem]:
    """Optional files that are left out, patterns that give none (a mistyped one would pass in silence), targets and rigs
    of no test.
    """
    for name, why in workspace.left_out:
        said = workspace.complaints.get(why) or complaints_of(InputError(why), name)
        yield from (Problem(name, "left_out", one) for one in said)
    yield from _logs(workspace)
    config, text = load(place, ConfigFile), text_of(place)
    for key in ("targets", "duties", "rigs", "sheets"):
        pattern = getattr(config, key)
        if pattern is not None and not matched(place.resolve().parent, pattern):
            words, line = f"{pattern!r} matches no file", line_of(text, (key,))
            mend = "correct the path or remove the key"
            yield Problem(place.name, "odd", Complaint(place.name, words, f"{key}/*.yaml", mend, line, key))
    found = scan(workspace.archive)
    tested = [
        ("compound", workspace.targets, list(found.compounds)),
        ("compound", workspace.sheets, list(found.compounds)),
        ("rig", workspace.rigs, sorted({rig for rig, _ in found.on_rigs.values()})),
    ]
    for what, files, known in tested:
        for name, path in files.items():
            if name not in known:
                these = ", ".join(map(repr, known[:SHOWN])) or "none"
                words = f"{what} {name!r} is named by no readable test.yaml"
                mend = "write it as the cards do, or remove the file"
                line = line_of(text_of(path), (what,))
                yield Problem(path.name, "odd", Complaint(path.name, words, f"these are: {these}", mend, line, what))


def _logs(workspace: Workspace) -> Iterator[Problem]:
    """Duties whose log cannot be cut, and what is odd in the cut of others."""
    if not workspace.logs:
        return
    from pipeline.duty.log import CycleWithLog, cycle_of

    for path in workspace.duties:
        try:
            cycle = cycle_of(path)
        except InputError as error:
            yield from (Problem(path.name, "left_out", one) for one in complaints_of(error, path.name))
            continue
        if isinstance(cycle, CycleWithLog):
            for note in cycle.brakings.notes:
                words = f"log {cycle.file}: {note}"
                said = Complaint(path.name, words, "a log that tells all brakings", "see the log", key=cycle.key)
                yield Problem(path.name, "odd", said)
