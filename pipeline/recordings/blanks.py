"""Tables with blanks between the columns: any run of blanks and tabs parts two cells of numbers.

A line of names or units may hold single blanks inside (`Load cell force`, `kgf m`): then it takes two or more to part two, or the
cells stand in brackets (`[kgf m]`). Which it is tells the number of cells that the rows of numbers have.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

BLANKS = " "  # as a card's delimiter


def fields(line: str, width: int | None = None) -> list[str]:
    """The cells of a line, as many as `width` where one of the ways of parting it gives that."""
    text = line.strip()
    plain = text.split()
    if not text or len(plain) == width:
        return plain
    further = (re.split(r"[ \t]{2,}|\t", text), re.findall(r"\[[^\]]*\]|\([^)]*\)|\S+", text))
    return next((cells for cells in further if len(cells) == width), plain)


def width_of(lines: Sequence[str]) -> int | None:
    """The number of cells that most lines have; None without any."""
    counts = Counter(len(line.split()) for line in lines if line.strip())
    return counts.most_common(1)[0][0] if counts else None


def tabbed(block: bytes) -> bytes:
    """Lines of numbers with one tab between the cells and none before or behind them."""
    return re.sub(rb"[ \t]+", b"\t", re.sub(rb"(?m)^[ \t]+|[ \t]+$", b"", block))
