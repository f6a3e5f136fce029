"""Published checks as the tests carry them: `@pytest.mark.published(what, source=..., origin=...)`.

They are read from the text of the tests, without loading them. `unmarked` finds the tests that name a source and carry no mark.
"""

from __future__ import annotations

import ast
import io
import re
import tokenize
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

#: where the expected figure comes from
ORIGINS = {
    "certified": "printed with the data by who made them, or exact by definition",
    "published": "seen in the source named",
    "from memory": "recalled from the source named and reproduced by the computation to its last printed digit, not looked up",
    "closed form": "derived, and the derivation checked numerically",
    "two programs": "agreed by an independent program or simulation",
}
#: words of a docstring or comment that name a source (ISO 8601 is how a date is written, and no check)
SOURCE = re.compile(
    r"from memory|\bNIST\b|\bISO (?!8601)\d|\bSAE J\d|\bASTM [A-Z]\d|\bJCGM\b|\bEN \d{4}|Carslaw|JANAF|\bUN R\d+|\bcertified\b"
)


@dataclass(frozen=True)
class Check:
    """A test that holds one of our functions against a figure from elsewhere."""

    what: str
    source: str
    origin: str
    path: Path
    test: str


def checks(tests: Path) -> list[Check]:
    """Every marked test, by file and place in the file."""
    return [Check(*mark, path, test.name) for path, test, mark in _tests(tests) if mark]


def unmarked(tests: Path) -> list[str]:
    """Tests whose docstring or comments name a source, and that carry no mark."""
    found = []
    for path, test, mark in _tests(tests):
        if not mark and SOURCE.search(_said(path, test)):
            found.append(f"{path.relative_to(tests)}::{test.name}")
    return found


def _tests(tests: Path) -> Iterator[tuple[Path, ast.FunctionDef, tuple[str, str, str] | None]]:
    """Test functions of the files in which a source or a mark stands."""
    for path in sorted(tests.rglob("test_*.py")):
        text = path.read_text(encoding="utf-8")
        if "mark.published" in text or SOURCE.search(text):
            for node in ast.parse(text).body:
                if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
                    yield path, node, _mark(path, node)


def _mark(path: Path, test: ast.FunctionDef) -> tuple[str, str, str] | None:
    for one in test.decorator_list:
        if isinstance(one, ast.Call) and ast.unparse(one.func) == "pytest.mark.published":
            (what,), named = one.args, {word.arg: ast.literal_eval(word.value) for word in one.keywords}
            if set(named) != {"source", "origin"} or named["origin"] not in ORIGINS:
                raise ValueError(f"{path.name}: {test.name}: a mark has source and origin, one of {', '.join(ORIGINS)}")
            return ast.literal_eval(what), named["source"], named["origin"]
    return None


def _said(path: Path, test: ast.FunctionDef) -> str:
    """Docstring and comments of a test."""
    lines = range(test.lineno, (test.end_lineno or test.lineno) + 1)
    return "\n".join([ast.get_docstring(test) or "", *(text for line, text in _comments(path) if line in lines)])


@cache
def _comments(path: Path) -> list[tuple[int, str]]:
    tokens = tokenize.generate_tokens(io.StringIO(path.read_text(encoding="utf-8")).readline)
    return [(one.start[0], one.string) for one in tokens if one.type == tokenize.COMMENT]
