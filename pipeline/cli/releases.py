"""`stopsheet delta RESULTS_A RESULTS_B`: issued results held against today's."""

from __future__ import annotations

from pathlib import Path

from pipeline.archive.scan import printable
from pipeline.errors import InputError


def compare(*, a: Path, b: Path, into: Path | None) -> int:
    """Print what no longer holds and by what; `into` also takes statements.json and statements.html."""
    from pipeline.delta.releases import compared
    from pipeline.report.releases_page import lines, page
    from pipeline.results import write_text
    from pipeline.results.model import write

    found = compared(a, b)
    if into is not None:
        if any(into.resolve().is_relative_to(side.resolve()) for side in (a, b)):
            raise InputError(f"{into}: is, or lies in, one of the results compared; name another folder")
        write(into / "statements.json", found)
        write_text(into / "statements.html", page(found))
    for line in lines(found):
        print(printable(line.replace("\u00a0", " ")))
    return 0
