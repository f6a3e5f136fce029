"""What a run finds in its results folder and has to put right before and after it works.

Only while the run holds the folder's lock (`lifeline.alone`): whatever is unfinished then belongs to nobody.
"""

from __future__ import annotations

import os
import shutil
import time
from pathlib import Path

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
    for part in results.rglob("*.part"):
        if part.name.split(".")[-2].isdecimal():
            part.unlink(missing_ok=True)


def settle_times(results: Path) -> None:
    """Shift results dated in the future to the present, in their order.

    A result that is younger than everything to come would pass for up to date for as long as the clock was wrong: the
    engine goes by file times where it has no other record.
    """
    now = time.time_ns()
    times = {path: path.stat().st_mtime_ns for path in results.rglob("*") if path.is_file() and not path.is_symlink()}
    late = {path: at for path, at in times.items() if at > now + TOLERANCE_S * 1e9}
    if late:
        ahead = max(late.values()) - now
        for path, at in late.items():
            os.utime(path, ns=(at - ahead, at - ahead))
