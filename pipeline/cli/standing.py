"""Whether anything differs since a run that left nothing to do: one look at the state of every file, and no plan.

A plan of the workflow engine grows with the number of stages (a thousand tests make 7,000 stages and a minute); it follows from the files
of the archive, from those that the config names, from the results and the software, and from nothing else. So a run that ends
with nothing left to do notes a digest of the states of all of these (size, both times and number of each file: the time of the
last change of its state, ctime, cannot be set by a program), and what the run came to. While the digest is the same, so is
everything that was planned by. Whatever differs, be it a touched file, leads to the engine and its whole plan.

The digests are kept for each test and compound apart, too (`parts`): where nothing else differs, a plan of those that do is a plan of
all (`differing`).

A state proves nothing where the file was changed just before the look (`seen.UNSETTLED_S`), or between the looks before and
after the run: then nothing is noted.
"""

from __future__ import annotations

import contextlib
import dataclasses
import os
import stat
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pipeline.archive import cards_kept
from pipeline.cli.apart import REST, Apart, Folder, compounds_of, part_of, with_siblings
from pipeline.cli.summary import MethodEnd
from pipeline.inputs.seen import UNSETTLED_S
from pipeline.results import write_json
from pipeline.results.fault import software
from pipeline.workspace.planned import Part
from pipeline.workspace.run import Run
from pipeline.workspace.targets import count
from pipeline.workspace.telling import PLANNED

NOTE = ".standing.json"
#: of the results folder: what a run or the engine keeps for itself, which no plan follows from
OWN = frozenset(
    (
        NOTE,
        PLANNED,
        ".snakemake",
        ".jobs",
        ".temp",
        ".running",
        ".durations.json",
        ".dry-run.log",
        "run.log",
        cards_kept.NAME,
        ".cluster",
        ".slurm",
    )
)


FOLDERS = ("archive", "results")  # of a workspace; its other paths are files


@dataclass(frozen=True)
class Look:
    """Digests of what a plan follows from, and the latest change of a given file (ns).

    parts: of the files of each test and compound, given and made; rest: of all others; None where the files of one may stand
    in another's folder, by a link to a folder.
    """

    given: str
    results: str
    latest: int
    at: int
    parts: dict[str, str] = field(default_factory=dict)
    rest: str | None = None
    of_given: dict[str, str] = field(default_factory=dict)  # digests of the given files alone


def look(run: Run, before: Look | None = None, part: Part | None = None) -> Look | None:
    """The states of all files of a run; None where some cannot be told.

    part, before: the tests and compounds that the run works on (None: all), and the look that it began with: of what was given of other tests
    that look is taken. Whatever somebody does to these meanwhile is no matter of this run; the next one finds them otherwise.
    """
    at, latest = time.time_ns(), 0
    try:
        apart = Apart(run, _not_again(before, part))
        for folder in _tree(run.archive, apart.is_kept):
            apart.given(folder)
            latest = max(latest, folder.latest)
        named = _files(_named(run))
        apart.named(named)
        for folder in _tree(Path(run.results), OWN.__contains__):
            apart.made(folder)
    except OSError:
        return None
    given, latest = apart.of_all_given(_words(run)), max(latest, named.latest)
    return Look(given, apart.of_made(), latest, at, *apart.digests(_words_of_all(run)), apart.of_given)


def _not_again(before: Look | None, part: Part | None) -> dict[str, str]:
    if before is None or part is None:
        return {}
    own = {REST, *(f"test {test}" for test in part.tests)}
    return {whose: digest for whose, digest in before.of_given.items() if whose not in own}


def _named(run: Run) -> list[str]:
    """Files beside the archive: the config and all those that it names."""
    found: list[Path] = []
    for part in dataclasses.fields(run.workspace):
        value = getattr(run.workspace, part.name)
        several = value.values() if isinstance(value, dict) else value if isinstance(value, tuple) else [value]
        if part.name not in FOLDERS:
            found += [one for one in several if isinstance(one, Path)]
    return sorted({str(path) for path in found})


def _words(run: Run) -> list[str]:
    """What a plan follows from beside the files: which of them are taken for what, and by which code."""
    return [run.found.digest, *_words_of_all(run)]


def _words_of_all(run: Run) -> list[str]:
    """Those that are no test's."""
    return [
        repr(run.workspace),
        repr(run.found.skipped),
        repr(run.found.refused),
        repr(run.read_methods),
        repr(run.compared),  # a sheet leads to comparisons with compounds of other tests
        software(),
        str(run.ingest_revision),
    ]


def _tree(root: Path, left_out: Callable[[str], bool]) -> Iterator[Folder]:
    """Every folder from the root on; left_out: of the names directly in it those that are not looked at.

    Hundreds of thousands of files are looked at: no path of one is built, and its state is one text.
    """
    top = os.fspath(root)
    waiting = [top]
    while waiting:
        place, latest, linked = waiting.pop(), 0, False
        inside: list[tuple[str, str]] = []
        with os.scandir(place) as entries:
            found = sorted((entry.name, entry) for entry in entries if place != top or not left_out(entry.name))
        for name, entry in found:
            own = entry.stat(follow_symlinks=False)
            if stat.S_ISDIR(own.st_mode):  # its times tell of files, which tell for themselves
                waiting.append(entry.path)
                inside.append((name, f"{own.st_mode} {own.st_uid}"))
                continue
            link = stat.S_ISLNK(own.st_mode)
            linked |= link and entry.is_dir()
            info, state = _of_target(entry.path) if link else (own, _state(own))
            latest = max(latest, info.st_mtime_ns, info.st_ctime_ns) if info else latest
            inside.append((name, state))
        yield Folder(place, inside, latest, linked)


def _files(paths: list[str]) -> Folder:
    """Files of any folder by their paths."""
    states = [os.stat(path) for path in paths]
    inside = [(path, f"{os.path.realpath(path)} {_state(info)}") for path, info in zip(paths, states, strict=True)]
    return Folder("", inside, max((max(info.st_mtime_ns, info.st_ctime_ns) for info in states), default=0))


def _of_target(path: str) -> tuple[os.stat_result | None, str]:
    """Of what a link leads to, if to anything."""
    try:
        info = os.stat(path)
    except FileNotFoundError:
        return None, os.readlink(path)
    return info, f"{os.readlink(path)}\0{_state(info)}"


def _state(info: os.stat_result) -> str:
    return f"{info.st_mode} {info.st_size} {info.st_mtime_ns} {info.st_ctime_ns} {info.st_ino}"


@dataclass(frozen=True)
class Standing:
    """What a run came to that left nothing to do. up_to_date: all its stages."""

    given: str
    results: str
    up_to_date: int
    methods: list[MethodEnd]
    parts: dict[str, str]
    rest: str | None
    tests: dict[str, str | None]  # with the folder name of each one's compound

    def holds(self, now: Look | None) -> bool:
        return now is not None and (now.given, now.results) == (self.given, self.results)


def noted(results: Path) -> Standing | None:
    """What the last such run noted; None where there is none or another version wrote it otherwise."""
    try:
        content = (results / NOTE).read_bytes()
        found: Standing = _typed().validate_json(content)
        return found
    except (OSError, ValueError):
        return None


def note(run: Run, before: Look | None, methods: list[MethodEnd], part: Part | None = None) -> None:
    """Note a run that left nothing to do, if no given file changed since the look before it, of a part of the archive none
    of that (`look`); a full disk costs the note alone.
    """
    place, now = Path(run.results) / NOTE, look(run, before, part)
    with contextlib.suppress(OSError):
        place.unlink(missing_ok=True)
        if before is None or now is None or now.given != before.given:
            return
        if before.latest > before.at - UNSETTLED_S * 1e9:
            return
        found = Standing(now.given, now.results, count(run), methods, now.parts, now.rest, compounds_of(run))
        write_json(place, _typed().dump_python(found, mode="json"))


def _typed() -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(Standing)


def differing(run: Run, last: Standing | None, now: Look | None) -> Part | None:
    """The tests and compounds whose files differ from those that a run left with nothing to do, with the compounds of these tests
    and all tests of these compounds; None where something else differs, which all may rest on, or nothing is known.
    """
    if last is None or now is None or last.rest is None or last.rest != now.rest:
        return None
    moved_ones = moved(run, last, now)
    return None if moved_ones is None else with_siblings(run, moved_ones)


def moved(run: Run, last: Standing | None, now: Look | None) -> Part | None:
    """The tests and compounds whose files differ, whatever else does, and the compounds of these tests."""
    if last is None or now is None or now.rest is None:
        return None
    keys = {*last.parts, *now.parts}
    return part_of(run, last.tests, {key for key in keys if last.parts.get(key) != now.parts.get(key)})
