"""What a run finds in its results folder and has to put right before and after it works.

Only while the run holds the folder's lock (`lifeline.alone`): whatever is unfinished then belongs to nobody. A run for one test alone goes through
the results of all, so what a folder says of its files is taken, and no path is built twice.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

from pipeline.results.extracts import FOLDER

TOLERANCE_S = 1.0  # clocks of a machine and of its network disk differ


def clear(results: Path) -> None:
    """Remove what a killed run left: the engine's lock and parts of files; and bring file times back from the
    future.
    """
    shutil.rmtree(results / ".snakemake" / "locks", ignore_errors=True)
    sweep(results)
    settle_times(results)


def sweep(results: Path) -> None:
    """Remove parts of files whose writers are gone."""
    for entry in _files(results):
        if entry.name.endswith(".part") and entry.name.split(".")[-2].isdecimal():
            with contextlib.suppress(FileNotFoundError):
                os.unlink(entry.path)


def without_places(results: Path) -> None:
    """Remove what a plan that is not carried out put where a stage would write: files of extracts without a byte, and folders that hold
    nothing else."""
    for entry in list(_files(results)):
        path = Path(entry.path)
        if path.parent.name != FOLDER or entry.stat(follow_symlinks=False).st_size:
            continue
        path.unlink(missing_ok=True)
        for folder in path.parents:
            if folder == results or any(folder.iterdir()):
                break
            folder.rmdir()


def settle_times(results: Path) -> None:
    """Shift results dated in the future to the present, in their order.

    A result that is younger than everything to come would pass for up to date for as long as the clock was wrong: the
    engine goes by file times where it has no other record.
    """
    now, times = time.time_ns(), dict[str, int]()
    for entry in _files(results):
        with contextlib.suppress(FileNotFoundError):
            times[entry.path] = entry.stat(follow_symlinks=False).st_mtime_ns
    late = {path: at for path, at in times.items() if at > now + TOLERANCE_S * 1e9}
    if late:
        ahead = max(late.values()) - now
        for path, at in late.items():
            os.utime(path, ns=(at - ahead, at - ahead))


def _files(folder: Path) -> Iterator[os.DirEntry[str]]:
    """Every plain file below a folder; a folder that is gone or cannot be listed has none."""
    waiting = [os.fspath(folder)]
    while waiting:
        try:
            with os.scandir(waiting.pop()) as entries:
                inside = list(entries)
        except (FileNotFoundError, PermissionError):
            continue
        for entry in inside:
            if entry.is_dir(follow_symlinks=False):
                waiting.append(entry.path)
            elif entry.is_file(follow_symlinks=False):
                yield entry
