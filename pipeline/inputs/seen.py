"""The content of the archive's files as the run saw it, so that what a stage read is what is recorded.

The run digests every file of a test. Names, sizes and times alone would not do: an edit can keep all three. A digest
is kept and taken over as long as size, both times (the time of the last change of the file's state, `ctime`, cannot
be set by a program) and number of the file are the same, so a second look at an archive reads nothing. A file that
was changed within `UNSETTLED_S` of the look is digested again next time: its times may not tell the next edit apart.

A stage is told where the run left its lists (`hold_against`). Whatever it then reads must be of that content;
anything else (edited, vanished, not readable now) is an `InputFault`: not this test's nature but this moment's, to be
tried again.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import stat
import time
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from pipeline.faults import SAID, InputFault, line, number_of
from pipeline.results import write_text

UNSETTLED_S = 2.0
DIGITS = 32  # of a file's SHA-256
UNLISTED = "folder that cannot be listed"
CHANGED = "changed since the run began; run again"
_lists: Path | None = None  # where the run left its lists; None where a stage is called by hand


class File(NamedTuple):
    """One file of a folder. state: size, both times (ns), number on its disk, or None where they prove nothing."""

    digest: str
    state: tuple[int, int, int, int] | None


def look(folder: Path, known: dict[str, File] | None = None) -> dict[str, File]:
    """Every file below a folder by its relative path, in order; digests of unchanged files are taken from `known`."""
    known, root = known or {}, os.fspath(folder)
    found = {}
    for place, info in _below(root):
        name = os.path.relpath(place, root) if place == root else place[len(root) :].lstrip(os.sep).replace(os.sep, "/")
        before = known.get(name)
        if before is None or before.state is None or info is None or before.state != state_of(info):
            before = _file(Path(place), folder, before)
        found[name] = before
    return dict(sorted(found.items()))


def of_file(path: Path) -> str:
    """Digest of one file beside the tests; words where it is none, or cannot be read."""
    return _file(path, path.parent, None).digest


def fingerprint(files: dict[str, File], *, besides: str | None = None, only: str | None = None) -> str:
    """Digest of names and contents, of all files but one or of one only."""
    state = hashlib.sha256()
    for name, file in files.items():
        if name != besides and (only is None or name == only):
            state.update(f"{name}\0{file.digest}\n".encode("utf-8", "surrogateescape"))
    return state.hexdigest()[:16]


def write(path: Path, folder: Path, files: dict[str, File]) -> None:
    write_text(path, json.dumps({"folder": str(folder), "files": files}, indent=0))  # names may be no UTF-8


def read(path: Path, folder: Path | None = None) -> dict[str, File]:
    """A list as it was written; empty where there is none, it is damaged, or it is of another folder."""
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        if folder is not None and content["folder"] != str(folder):
            return {}
        return {
            name: File(digest, tuple(state) if state else None) for name, (digest, state) in content["files"].items()
        }
    except (OSError, ValueError, TypeError, KeyError):
        return {}


def _below(folder: str) -> Iterator[tuple[str, os.stat_result | None]]:
    """Whatever is no folder, with its state where it is a plain file; and the folders that cannot be listed.

    Hundreds of thousands of files are looked at in every run: the listing's own words on each are taken, and no path is
    built twice.
    """
    try:
        with os.scandir(folder) as entries:
            inside = list(entries)
    except OSError:
        yield folder, None
        return
    for entry in inside:
        try:
            if entry.is_dir(follow_symlinks=False):
                yield from _below(entry.path)
                continue
            info = entry.stat(follow_symlinks=False)
        except OSError:
            yield entry.path, None
            continue
        yield entry.path, info if stat.S_ISREG(info.st_mode) else None


def _file(path: Path, folder: Path, known: File | None) -> File:
    try:
        info = path.lstat()
        if stat.S_ISLNK(info.st_mode):
            inside = path.resolve().is_relative_to(folder.resolve().parent)  # a card may be another test's
            if not (inside and path.is_file()):
                return File(f"link to {os.readlink(path)}", None)
            info = path.stat()
        if stat.S_ISDIR(info.st_mode):
            return File(UNLISTED, None)
        if not stat.S_ISREG(info.st_mode):
            return File("no plain file", None)
        state = state_of(info)
        if known and known.state == state:
            return known
        looked = time.time_ns()
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()[:DIGITS]
        settled = max(info.st_mtime_ns, info.st_ctime_ns) < looked - UNSETTLED_S * 1e9
        return File(digest, state if settled else None)
    except (OSError, RuntimeError) as error:
        return File(f"not readable: {getattr(error, 'strerror', None) or type(error).__name__}", None)


def state_of(info: os.stat_result) -> tuple[int, int, int, int]:
    """Size, both times (ns) and number of a file: of the same state is of the same content, but for `UNSETTLED_S`."""
    return (info.st_size, info.st_mtime_ns, info.st_ctime_ns, info.st_ino)


def hold_against(lists: Path | None) -> None:
    """Hold what this process reads from now on against the lists of a run in a folder; None: against nothing."""
    global _lists
    _lists = lists


def of_run(folder: Path) -> dict[str, File] | None:
    """The list of a test's folder; None where there is no list, or none of this folder."""
    found = read(_lists / f"{folder.name}.json", folder) if _lists is not None else {}
    return found or None


def refuse_changed(folder: Path, fingerprint_of_run: str, wear: str | None) -> None:
    """InputFault where a test's folder does not hold what the run saw; `wear` is left out, its own stage reads it."""
    listed = of_run(folder)
    if listed is None:
        return
    now = look(folder, listed)
    for name in sorted({*listed, *now} - {wear}):
        before, after = listed.get(name), now.get(name)
        if before is None or after is None or before.digest != after.digest:
            what = "appeared" if before is None else "vanished" if after is None else "changed"
            raise InputFault(f"{folder / name}: {what} while it was read; run again")
    if fingerprint(listed, besides=wear) != fingerprint_of_run:
        raise InputFault(f"{folder}: {CHANGED}")


def refuse_unlisted(folder: Path) -> None:
    """InputFault where the run could not list a folder of the test: what lies there would be missing without a word."""
    for name, file in (of_run(folder) or {}).items():
        if file.digest == UNLISTED:
            raise InputFault(line(folder / name, errno.EACCES))


def verify(path: Path, content: bytes) -> None:
    """InputFault where a small file of a test is not of the content that the run saw."""
    for folder in path.parents[:3] if _lists is not None else ():
        files = of_run(folder)
        if files is not None:
            listed = files.get(path.relative_to(folder).as_posix())
            if listed is None or listed.digest != _digest(content):
                raise InputFault(f"{path}: {CHANGED}")
            return


def refuse_lost(error: BaseException, path: Path) -> None:
    """InputFault where a small file of a test cannot be read for a reason of the machine, or was there when the run
    began.
    """
    number = number_of(error)
    if _lists is None or number not in SAID:
        return
    lists = (files for folder in path.parents[:3] if (files := of_run(folder)) is not None)
    was_there = any(path.name == Path(name).name for files in lists for name in files)
    if number != errno.ENOENT or was_there:
        raise InputFault(line(path, number)) from error


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:DIGITS]
