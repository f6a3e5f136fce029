"""YAML as a person writes it: read safely, refused in words for engineers, and the line of every key.

Scalars stay text (`batch: 2406`, `NO`); the models know what each key wants. Aliases, merge keys, keys given twice and
excessive depth are refused: a few bytes of aliases can expand to gigabytes.
"""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path
from typing import Any

import yaml

from pipeline.errors import Complaint, InputError, Place
from pipeline.inputs.plain_files import plain_bytes

MAX_BYTES = 2_000_000
MAX_DEPTH = 12
SAFE: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
# What the parser says -> what was found, what is accepted, what to do.
UNREADABLE: tuple[tuple[str, str, str, str], ...] = (
    (r"expected ',' or '[\]}]'", "a bracket [ or {{ that is opened {here} is not closed, or a comma is missing in it",
     "[a, b], or keys and values in {{ }}", "close it, or set the missing comma"),
    (r"expected node content", "a value is missing, or a bracket [ or {{ that is opened here or above is not closed",
     "[a, b], or keys and values in {{ }}", "write the value, or close the bracket"),
    (r"mapping values are not allowed", "a second colon in one line", "one `key: value` a line",
     "put a value that holds a colon into quotes"),
    (r"expected <block end>|expected key|block collection|block mapping",
     "this line does not stand under those above", "keys of one level begin in the same column, entries of a list with '- '",
     "set its indentation right"),
    (r"quoted scalar", "a quote that is opened {here} is not closed", "text between two quotes", "close it"),
    (r"constructor for the tag", "a tag (!)", "text, lists and keys without tags", "remove it, or put the value into quotes"),
    (r"control characters|special characters", "a character that no text has", "printable characters", "remove it"),
)  # fmt: skip


class _TextLoader(SAFE):  # type: ignore[misc]
    """Safe loader that keeps scalars as they were written."""


def _mapping(loader: Any, node: Any) -> dict[str, Any]:
    pairs: dict[str, Any] = {}
    for key_node, value_node in node.value:
        if not isinstance(key_node, yaml.ScalarNode):
            raise _Refused("a key that is no text", "`key: value`", "write a name before the colon", key_node)
        if key_node.tag == "tag:yaml.org,2002:merge":
            raise _Refused("merge keys (<<) are not accepted", "each key written out", "write them out", key_node)
        if key_node.value in pairs:
            raise _Refused(f"key {key_node.value!r} is given twice", "each key once", "remove one of them", key_node)
        pairs[key_node.value] = loader.construct_object(value_node, deep=True)
    return pairs


def _scalar(loader: Any, node: Any) -> Any:
    text = node.value
    if not node.style and text in ("", "~", "null", "Null", "NULL"):
        return None
    return text


_TextLoader.add_constructor("tag:yaml.org,2002:map", _mapping)
for _tag in ("str", "int", "float", "bool", "timestamp", "null"):
    _TextLoader.add_constructor(f"tag:yaml.org,2002:{_tag}", _scalar)


class _Refused(Exception):
    """Something that YAML allows and an input file does not."""

    def __init__(self, found: str, accepted: str, mend: str, node: Any) -> None:
        super().__init__(found)
        self.said, self.line = (found, accepted, mend), node.start_mark.line + 1


def text_of(path: Path, *, inside: Path | None = None) -> str:
    """The file's text. Raises InputError, also for a link out of `inside`."""
    try:
        return plain_bytes(path, MAX_BYTES, inside=inside).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise InputError(
            Complaint(path.name, f"not UTF-8 text (byte {error.start})", "UTF-8", "save it as UTF-8", line)
        ) from error


def content_of(text: str, name: str) -> Any:
    """What the text holds, every scalar as text or None. Raises InputError; `name` is the file's."""
    try:
        _refuse_aliases(text)
        return yaml.load(text, Loader=_TextLoader)
    except _Refused as error:
        raise InputError(Complaint(name, *error.said, error.line)) from error
    except yaml.MarkedYAMLError as error:
        raise InputError(_unreadable(error, text, name)) from error
    except (yaml.YAMLError, ValueError, RecursionError) as error:
        words = f"not valid YAML ({' '.join(str(error).split())[:200]})"
        raise InputError(Complaint(name, words, "keys and values as in docs/", "save it as plain text", 1)) from error


def line_of(text: str, place: Place) -> int:
    """Line, from 1, of a key or entry; of what is not there that of what would hold it, 1 for the whole file."""
    node, line = _nodes(text), 1
    for part in place:
        below = None
        if isinstance(node, yaml.MappingNode):
            below = next(((k.start_mark.line, v) for k, v in node.value if k.value == str(part)), None)
        elif isinstance(node, yaml.SequenceNode) and isinstance(part, int) and part < len(node.value):
            below = (node.value[part].start_mark.line, node.value[part])
        if below is None:
            break
        line, node = below[0] + 1, below[1]
    return line


@lru_cache(maxsize=2)
def _nodes(text: str) -> Any:
    """The text's nodes with their marks; not to be changed. Kept, as a file with one fault in each of its entries asks for many lines."""
    return yaml.compose(text, Loader=SAFE)


def _refuse_aliases(text: str) -> None:
    depth = 0
    events: Any = yaml.parse(text, Loader=SAFE)
    for event in events:
        if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
            raise _Refused("anchors and aliases (&, *) are not accepted", "each value written out",
                           "write it out, or put a text that begins so into quotes", event)  # fmt: skip
        if isinstance(event, yaml.MappingStartEvent | yaml.SequenceStartEvent):
            depth += 1
            if depth > MAX_DEPTH:
                words = f"nested deeper than {MAX_DEPTH} levels"
                raise _Refused(words, f"at most {MAX_DEPTH} levels", "see the input format in docs/", event)
        elif isinstance(event, yaml.MappingEndEvent | yaml.SequenceEndEvent):
            depth -= 1


def _unreadable(error: yaml.MarkedYAMLError, text: str, name: str) -> Complaint:
    """What the parser stumbled over, in words of a person who edits the file."""
    mark: Any = error.problem_mark or error.context_mark
    begun: Any = error.context_mark
    line = mark.line + 1 if mark else 1
    lines = text.splitlines()
    written = lines[line - 1] if line <= len(lines) else ""
    while line > 1 and not (line <= len(lines) and lines[line - 1].strip()):
        line -= 1  # the text ends too soon: the last line that somebody wrote
    at = written[mark.column :] if mark else ""
    if re.search(r"[:\[]\s*,", written):
        return Complaint(name, "a comma that is a value", "',' in quotes", "put it in quotes: ','", line)
    if "\t" in written[: len(written) - len(written.lstrip())]:
        return Complaint(name, "a tab before the key", "blanks", "replace the tabs by blanks", line)
    if re.match(r"[%@`]", at):
        mend = "put the value into quotes, or write the number first"
        return Complaint(name, f"a value that begins with {at[0]!r}", f"{at[0]!r} in quotes", mend, line)
    said = f"{error.problem or ''} {error.context or ''}"
    for pattern, found, accepted, mend in UNREADABLE:
        if re.search(pattern, said):
            here = "here" if begun is None or begun.line + 1 == line else f"in line {begun.line + 1}"
            return Complaint(name, found.format(here=here), accepted.format(), mend, line)
    found = f"this is no YAML: {written.strip()[:60]!r}"
    return Complaint(name, found, "`key: value`", "correct the line, or put the value into quotes", line)
