"""Counts in sentences: `1 test`, not `1 tests`; held by the function that writes them, and by the source of what people read first."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.wording import counted, in_percent

PACKAGE = Path(__file__).parents[2] / "pipeline"
#: what tells the end of a run, of a check and of a look; the index and the test's page
READ_FIRST = ("cli", "workspace", "inspection", "report", "comparison")
COUNTED = re.compile(
    r"^ (?:further |usable |other |exact )?(?:tests|stops|compounds|batches|specimens|files|folders|recordings|rows|blocks|"
    r"brakings|readings|findings|checks|methods|rigs|copies)\b"
)


@pytest.mark.parametrize(
    ("number", "what", "said"),
    [
        (1, "test", "1 test"),
        (0, "test", "0 tests"),
        (2, "batch", "2 batches"),
        (1, "batch", "1 batch"),
        (3, "usable stop", "3 usable stops"),
        (2, "exact copy", "2 exact copies"),
        (2, "day", "2 days"),
    ],
)
def test_one_is_no_plural(number: int, what: str, said: str) -> None:
    assert counted(number, what) == said


def plain_counts(source: str) -> Iterator[tuple[int, str]]:
    """(line, what is counted) of numbers put before a plural as they are; `1 of 3 tests` is right whatever the number."""
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.JoinedStr):
            continue
        for at, (value, after) in enumerate(zip(node.values, node.values[1:], strict=False)):
            if not isinstance(value, ast.FormattedValue) or not isinstance(after, ast.Constant):
                continue
            before = node.values[at - 1] if at else None
            of = isinstance(before, ast.Constant) and str(before.value).endswith(" of ")
            name = ast.unparse(value.value)
            if of or name.isupper() or name == "name" or value.format_spec is not None:  # `{name} stops` is no count
                continue
            if COUNTED.match(str(after.value)):
                yield node.lineno, f"{name}{after.value}"


def test_what_people_read_first_counts_with_the_helper() -> None:
    paths = [path for name in READ_FIRST for path in sorted((PACKAGE / name).rglob("*.py"))]
    found = [
        f"{path.relative_to(PACKAGE)}:{line}: {text}"
        for path in paths
        for line, text in plain_counts(path.read_text(encoding="utf-8"))
    ]
    assert found == []


def test_a_plain_count_is_found_and_a_share_is_none() -> None:
    assert list(plain_counts('f"{n} tests"\nf"{m} of {n} tests"\nf"{MOST} tests"')) == [(1, "n tests")]


def test_shares_are_written_one_way() -> None:
    """`42 %`: Python's own format leaves out the blank."""
    told = [path for path in PACKAGE.rglob("*.py") if re.search(r":\.\d%\}", path.read_text(encoding="utf-8"))]
    assert told == [] and in_percent(0.4249) == "42 %" and in_percent(0.012, 1) == "1.2 %"
