"""Validation of an archive, or of a whole workspace, without reducing anything.

Reads every settings file and card, lists every recording, and looks at the recordings' heads: their
columns, units and first rows. What only the samples can show is left to a run.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Literal, NamedTuple

from pipeline.archive.card import Card, load_card
from pipeline.archive.scan import Scan, printable, refuse_empty, scan
from pipeline.errors import InputError
from pipeline.inputs.model import load
from pipeline.wording import counted
from pipeline.workspace.config import ConfigFile, Workspace
from pipeline.workspace.run import load_run

ALL_WELL, WRONG_CALL, UNUSABLE = 0, 2, 3
HEADS = 3000  # of recordings looked at in all; in a larger archive a few of each test
FEW = 3


class Problem(NamedTuple):
    """One thing that is wrong. level: unusable (the test gives no result), left_out (a file is not used),
    odd."""

    where: str
    level: Literal["unusable", "left_out", "odd"]
    message: str


class Checked(NamedTuple):
    problems: list[Problem]
    tests: int
    recordings: int
    heads: int


def check(place: Path) -> int:
    """Print one line a problem of a config file or an archive folder, then a summary; returns the exit
    code."""
    try:
        checked = checked_place(place)
    except InputError as error:
        print(f"stopsheet: {error}")
        return WRONG_CALL
    for problem in checked.problems:
        print(printable(f"{problem.where}: {problem.level.replace('_', ' ')}: {problem.message}"))
    unusable = len({p.where.split("/")[0] for p in checked.problems if p.level == "unusable"})
    others = sum(p.level != "unusable" for p in checked.problems)
    looked = "" if checked.heads == checked.recordings else f" (the heads of {checked.heads} looked at)"
    print(
        f"{counted(checked.tests, 'test')}, {counted(checked.recordings, 'recording')}{looked}: {unusable} unusable, {counted(others, 'other problem')}"
    )
    return UNUSABLE if unusable else ALL_WELL


def checked_place(place: Path) -> Checked:
    """Problems of a config file's workspace or of an archive folder. Raises InputError for a wrong place or
    config."""
    problems: list[Problem] = []
    one = place.is_dir() and (place / "test.yaml").is_file()
    if place.is_dir():
        archive = place.resolve().parent if one else place
    elif place.is_file():
        workspace = load_run(place).workspace
        archive = workspace.archive
        problems += _of_workspace(place, workspace)
    else:
        raise InputError(f"{printable(str(place))}: no such file or folder; give a config file or an archive folder")
    found = _alone(scan(archive), place.resolve().name) if one else scan(archive)
    refuse_empty(found, archive)
    problems += [Problem(name, "left_out", why) for name, why in found.skipped if (name, why) not in found.refused]
    problems += [Problem(name, "unusable", why) for name, why in found.refused]
    cards: dict[str, Card] = {}
    for test in found.tests:
        try:
            cards[test] = load_card(archive / test)
        except InputError as error:
            problems.append(Problem(test, "unusable", str(error)))
    checked = _recordings(archive, cards)
    problems += [p for test, card in cards.items() for p in _wear(archive / test, card)]
    return Checked(
        sorted(problems + checked.problems, key=lambda p: p.where), len(found.tests) + len(found.refused), *checked[2:]
    )


def _alone(found: Scan, test: str) -> Scan:
    """One test of an archive."""
    return replace(
        found,
        tests={name: compound for name, compound in found.tests.items() if name == test},
        skipped=tuple(one for one in found.skipped if one[0] == test),
        refused=tuple(one for one in found.refused if one[0] == test),
    )


def _of_workspace(place: Path, workspace: Workspace) -> Iterator[Problem]:
    """Optional files that are left out, patterns that give none (a mistyped one would pass in silence), targets and rigs
    of no test.
    """
    for name, why in workspace.left_out:
        yield Problem(name, "left_out", why.removeprefix(f"{name}: "))
    yield from _logs(workspace)
    config = load(place, ConfigFile)
    for key in ("targets", "duties", "rigs"):
        pattern = getattr(config, key)
        if pattern is not None and not getattr(workspace, key) and not workspace.left_out:
            yield Problem(
                place.name, "odd", f"{key}: {pattern!r} gives no usable file; correct the path or remove the key"
            )
    found = scan(workspace.archive)
    tested = {
        "compound": (workspace.targets, list(found.compounds)),
        "rig": (workspace.rigs, sorted({rig for rig, _ in found.on_rigs.values()})),
    }
    for what, (files, known) in tested.items():
        for name, path in files.items():
            if name not in known:
                these = ", ".join(map(repr, known[:FEW])) or "none"
                yield Problem(
                    path.name, "odd", f"{what} {name!r} is named by no readable test.yaml; these are: {these}"
                )


def _logs(workspace: Workspace) -> Iterator[Problem]:
    """Duties whose log cannot be cut, and what is odd in the cut of others."""
    if not workspace.logs:
        return
    from pipeline.duty.log import CutCycle, cycle_of

    for path in workspace.duties:
        try:
            cycle = cycle_of(path)
        except InputError as error:
            yield Problem(path.name, "left_out", str(error).removeprefix(f"{path.name}: "))
            continue
        if isinstance(cycle, CutCycle):
            for note in cycle.brakings.notes:
                yield Problem(path.name, "odd", f"log {cycle.file}: {note}")


def _recordings(archive: Path, cards: dict[str, Card]) -> Checked:
    from pipeline.recordings.heads import listed

    problems: list[Problem] = []
    paths: dict[str, list[Path]] = {}
    for test, card in cards.items():
        try:
            paths[test] = listed(archive / test, card)
        except InputError as error:
            problems.append(Problem(test, "unusable", str(error)))
    total = sum(map(len, paths.values()))
    heads = 0
    for test, files in paths.items():
        chosen = files if total <= HEADS else _spread(files, FEW)
        heads += len(chosen)
        problems += _of_heads(archive / test, cards[test], chosen)
        problems += _excluded(test, cards[test], len(files))
    return Checked(problems, len(cards), total, heads)


def _excluded(test: str, card: Card, recordings: int) -> Iterator[Problem]:
    """Stops that the card excludes and the test cannot have, as far as the recordings' number tells."""
    planned = sum(block.stops for block in card.blocks)
    one = card.recordings.holds == "stop"
    for entry, exclusion in enumerate(card.exclude, start=1):
        place = f"test.yaml: exclude.entry {entry}.stops: stop {max(exclusion.stops)}"
        if one and max(exclusion.stops) > recordings:
            said = f"{place} does not exist: the card says one stop a recording, and the test has {counted(recordings, 'recording')}"
            yield Problem(test, "unusable", said)
        elif not one and max(exclusion.stops) > planned * 1.2 + 5:
            yield Problem(test, "odd", f"{place}: the schedule has {counted(planned, 'stop')}")


def _spread(files: list[Path], count: int) -> list[Path]:
    """First, last and some between."""
    if len(files) <= count:
        return files
    return [files[round(i * (len(files) - 1) / (count - 1))] for i in range(count)]


def _of_heads(folder: Path, card: Card, paths: list[Path]) -> Iterator[Problem]:
    from pipeline.recordings.files import shown
    from pipeline.recordings.heads import looked_at

    failed, units = [], {}
    for path in paths:
        try:
            units.update(looked_at(path, folder, card))
        except InputError as error:
            failed.append((shown(path, folder), str(error)))
    if len(failed) == len(paths):
        name, why = failed[0]
        yield Problem(folder.name, "unusable", f"none of its recordings can be read; {name}: {why}")
        return
    for name, why in failed:
        yield Problem(f"{folder.name}/{name}", "left_out", why)
    for channel, unit in units.items():
        stated = card.recordings.channels[channel].unit
        yield Problem(folder.name, "odd", f"{channel}: the recordings say {unit!r}, test.yaml says {stated!r}")


def _wear(folder: Path, card: Card) -> Iterator[Problem]:
    if card.wear is None:
        if (folder / "wear.csv").exists():
            yield Problem(folder.name, "odd", "wear.csv is there, but test.yaml does not name it (wear: wear.csv)")
        return
    from pipeline.recordings.files import refuse_outside
    from pipeline.wear.dwells import placed
    from pipeline.wear.readings import read_wear

    path = folder / card.wear
    try:
        refuse_outside(path, folder)
        readings, findings = read_wear(path)
    except InputError as error:
        yield Problem(f"{folder.name}/{printable(card.wear)}", "left_out", f"{error}; wear is not given")
        return
    _, misplaced = placed(readings, card)
    for found in [*findings, *misplaced]:
        yield Problem(f"{folder.name}/{printable(card.wear)}", "odd", found.message)
    planned = sum(block.stops for block in card.blocks)
    last = readings["after_stop"].max() if readings.height else None
    if isinstance(last, int) and last > planned * 1.2 + 5:
        message = f"a reading after stop {last}, but the schedule has {counted(planned, 'stop')}"
        yield Problem(f"{folder.name}/{printable(card.wear)}", "odd", message)
