"""Results that no run renews any more: of tests and compounds that left the archive, of comparisons that are no longer made.

They are not deleted, as nobody asked for that, but they must not pass for results of the archive as it is: archive.json lists them,
a file in each folder says so, and what reads results folder by folder leaves them out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from pipeline.results.archive import LeftOver
from pipeline.results.files import write_text

MARK = "LEFT_OVER.txt"
#: kind of folder below a method's results -> why one may be there that the run does not make
WHY = {
    "tests": "the archive has no such test; what stands here is of an earlier run. Delete it, or put the test back and run",
    "compounds": "no test card names this compound; what stands here is of an earlier run. Delete it",
    "comparisons": "the config does not compare these two; what stands here is of an earlier run. Delete it",
}


def is_left_over(folder: Path) -> bool:
    """Whether a run has marked the folder."""
    return (folder / MARK).is_file()


def marked(results: Path, made: Mapping[str, Iterable[str]]) -> list[LeftOver]:
    """The folders below a method's results that a run of the archive as it is does not make, each with its mark.

    made: names of those that it makes, by kind (the keys of WHY); a mark in one of these is taken away.
    """
    found = []
    for kind, why in WHY.items():
        kept = set(made[kind])
        for folder in sorted(path for path in (results / kind).glob("*") if path.is_dir()):
            if folder.name in kept:
                (folder / MARK).unlink(missing_ok=True)
                continue
            found.append(LeftOver(folder=f"{kind}/{folder.name}", why=why))
            if not is_left_over(folder):
                write_text(folder / MARK, f"{why}.\n")
    return found
