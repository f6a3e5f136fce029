"""docs/notebook.md, written as a notebook is: prose, cells, and below each cell what it printed.

`python -m tests.docs.tour --write` runs the cells in order and writes their output into the page; the prose is the page's own.
The cells under RESULTS read the results of the samples, so that a run of these has to come first
(`stopsheet run rig_samples/config.yaml`, or `--results FOLDER` of one).

A cell is a fenced block of Python; what it prints, and the value of its last line, stands in the block of text below it.
A figure says what it draws: a notebook would show it.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import io
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import plotly.graph_objects as go
import polars as pl

REPO = Path(__file__).parents[2]
PAGE = REPO / "docs" / "notebook.md"
#: heading from which on the cells read the results of a run
RESULTS = "## The results of a run"
COMMAND = "python -m tests.docs.tour --write, after a run of the samples"
PLACE = '"rig_samples/results"'  # as the cells name it
CELL = re.compile(r"```python\n(?P<code>.*?)```\n(?:\n```text\n(?P<output>.*?)```\n)?", re.DOTALL)
NUMBER = re.compile(r"^\(?\[?([-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?)([^\d]*)$")
RULES = re.compile(r"[─═│┆╞╡┌┐└┘┬┴┼╪]+")


@dataclass(frozen=True)
class Cell:
    """A cell and what stands below it, with its place in the page."""

    code: str
    output: str
    start: int
    end: int


def cells(page: str) -> list[Cell]:
    return [Cell(m["code"], m["output"] or "", m.start(), m.end()) for m in CELL.finditer(page)]


def parts(page: str) -> tuple[list[Cell], list[Cell]]:
    """(cells of one test in memory, cells that read the results of a run)."""
    found, at = cells(page), page.index(RESULTS)
    return [cell for cell in found if cell.start < at], [cell for cell in found if cell.start > at]


class Notebook:
    """Cells run one after another in one namespace; display settings of the frames end with it."""

    def __init__(self, results: Path | None = None) -> None:
        self.results = results
        self.names: dict[str, Any] = {"__name__": "notebook"}
        self.ran: list[Cell] = []

    def run(self, given: list[Cell]) -> list[Cell]:
        """The cells with what they print now."""
        with pl.Config(), contextlib.chdir(REPO):
            found = [replace(cell, output=self._output(cell.code)) for cell in given]
        self.ran += found
        return found

    def _output(self, code: str) -> str:
        if self.results is not None:
            code = code.replace(PLACE, repr(str(self.results)))
        tree, said = ast.parse(code), io.StringIO()
        last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
        with contextlib.redirect_stdout(said):
            exec(compile(tree, "cell", "exec"), self.names)
            if last is not None:
                value = eval(compile(ast.Expression(last.value), "cell", "eval"), self.names)  # type: ignore[attr-defined]
                if value is not None:
                    print(shown(value))
        text = said.getvalue()
        if self.results is not None:
            text = text.replace(str(self.results), PLACE.strip('"'))
        return "".join(f"{line.rstrip()}\n" for line in text.replace(f"{REPO}{os.sep}", "").splitlines())


def shown(value: Any) -> str:
    """As a notebook shows it; of a figure in words what it draws."""
    if not isinstance(value, go.Figure):
        return repr(value)
    names = list(dict.fromkeys(trace.name for trace in value.data if trace.name))
    return f"[figure over {value.layout.xaxis.title.text}: {'; '.join(names)}]"


def differences(before: str, now: str) -> list[str]:
    """Where two outputs are not alike: words exactly, numbers to one in the last digit printed."""
    first, second = (RULES.sub(" ", text).split() for text in (before, now))
    if len(first) != len(second):
        return [f"{len(first)} words, now {len(second)}: {now[:300]}"]
    return [f"{a}, now {b}" for a, b in zip(first, second, strict=True) if a != b and not _near(a, b)]


def _near(a: str, b: str) -> bool:
    one, other = NUMBER.match(a), NUMBER.match(b)
    if not one or not other or one[2] != other[2]:
        return False
    decimals = len(one[1].partition(".")[2])
    return abs(float(one[1]) - float(other[1])) <= 1.01 * 10**-decimals


def _pieces(page: str, run: list[Cell]) -> Iterator[str]:
    at = 0
    for cell in run:
        yield page[at : cell.start]
        yield f"```python\n{cell.code}```\n" + (f"\n```text\n{cell.output}```\n" if cell.output else "")
        at = cell.end
    yield page[at:]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--write", action="store_true", help="renew the page")
    parser.add_argument("--results", type=Path, default=REPO / "rig_samples" / "results", help="results of the samples")
    options = parser.parse_args()
    page = PAGE.read_text(encoding="utf-8")
    notebook = Notebook(options.results.resolve())
    run = notebook.run(cells(page))
    if options.write:
        PAGE.write_text("".join(_pieces(page, run)), encoding="utf-8")
    else:
        print("".join(_pieces(page, run)))


if __name__ == "__main__":
    main()
