"""Blanks of a file that was written for a person to complete: named with key, line and what to write, and never run.

A blank is a value that holds the word FILL_IN. What to write there stands in the comment behind it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, NamedTuple

import yaml

from pipeline.errors import Complaint

BLANK = "FILL_IN"
MARK = re.compile(rf"\b{BLANK}\b")


class Blank(NamedTuple):
    """line counts from 1; hint: the comment on its line, "" without one."""

    line: int
    key: str
    hint: str


def holds_blank(content: Any) -> bool:
    """Whether any text of the content is a blank."""
    if isinstance(content, dict):
        return any(holds_blank(one) for one in (*content.keys(), *content.values()))
    if isinstance(content, list):
        return any(map(holds_blank, content))
    return isinstance(content, str) and bool(MARK.search(content))


def blanks(text: str) -> list[Blank]:
    """The blanks of a YAML text that can be read, in the order of their lines."""
    root = yaml.compose(text, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))
    lines = text.splitlines()
    found = [Blank(line + 1, key, _hint(lines[line])) for line, key in _within(root, "")]
    return sorted(dict.fromkeys(found))


def complaints(name: str, found: list[Blank]) -> list[Complaint]:
    """Each blank of a file."""
    return [
        Complaint(
            name,
            f"a blank to fill in ({BLANK})",
            f"{one.hint or 'what only you know'}",
            "write it there",
            one.line,
            one.key,
        )
        for one in found
    ]


def _within(node: Any, key: str) -> Iterator[tuple[int, str]]:
    if isinstance(node, yaml.MappingNode):
        for name, value in node.value:
            yield from _within(value, f"{key}.{name.value}".strip("."))
    elif isinstance(node, yaml.SequenceNode):
        several = len(node.value) > 1
        for number, value in enumerate(node.value, start=1):
            yield from _within(value, f"{key}.entry {number}" if several else key)
    elif isinstance(node, yaml.ScalarNode) and MARK.search(node.value):
        yield node.start_mark.line, key


def _hint(line: str) -> str:
    match = re.search(r"\s#\s*(.*?)\s*$", line)
    return match[1] if match else ""
