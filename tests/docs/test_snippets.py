"""What pages tell a reader to type or to write is taken: command lines by the commands, YAML by the schemas of the input files."""

import json
import re
import shlex
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
import yaml
from jsonschema import Draft202012Validator

from pipeline.cli.calls import read as read_call
from pipeline.stages import STAGES
from tests.conftest import REPO

GENERATED = {"command_line.md"}  # how a command is called in general, and no call
NO_INPUT = {"api.md", "notebook.md"}  # Python
PAGES = [REPO / "README.md", *sorted((REPO / "docs").rglob("*.md"))]
CALL = re.compile(r"\s*(?:\.venv/bin/)?stopsheet (?P<rest>.+)")


def blocks(text: str) -> Iterator[list[str]]:
    """Lines of each block of code of a page: fenced, or indented by four after an empty line."""
    inside, fenced, last = [], False, ""
    for line in [*text.splitlines(), "end"]:
        if line.lstrip().startswith("```"):
            if fenced and inside:
                yield inside
            inside, fenced = [], not fenced
        elif fenced or (line.startswith("    ") and (inside or not last.strip())):
            inside.append(line if fenced else line[4:])
        elif inside and line.strip():
            yield inside
            inside = []
        last = line


@cache
def schemas() -> dict[str, Draft202012Validator]:
    """Of every input file, without what is required: a page shows parts of files."""
    files = (REPO / "docs" / "schemas" / "input").glob("*.json")
    return {path.stem: Draft202012Validator(_parts(json.loads(path.read_text(encoding="utf-8")))) for path in files}


def _parts(node):
    if isinstance(node, dict):
        return {key: _parts(value) for key, value in node.items() if key not in ("required", "minProperties")}
    return [_parts(one) for one in node] if isinstance(node, list) else node


def written(block: list[str]) -> dict | None:
    """A mapping in YAML, but for lines that are planned and not built; None where the block is something else."""
    try:
        found = yaml.safe_load("\n".join(line for line in block if "planned" not in line))
    except yaml.YAMLError:
        return None
    return json.loads(json.dumps(found, default=str)) if isinstance(found, dict) else None


def calls(page: Path) -> list[list[str]]:
    lines = [CALL.fullmatch(line) for block in blocks(page.read_text(encoding="utf-8")) for line in block]
    found = [shlex.split(match["rest"], comments=True) for match in lines if match]
    return [arguments for arguments in found if arguments[0] not in STAGES or arguments[0] == "delta"]


def test_every_call_on_a_page_is_one(capsys):
    refused, count = [], 0
    for page in PAGES:
        for arguments in [] if page.name in GENERATED else calls(page):
            count += 1
            try:
                assert callable(read_call(arguments))
            except SystemExit:
                refused.append((page.name, arguments, capsys.readouterr().err))
    assert refused == [] and count > 25


def test_a_call_that_is_none_is_found(tmp_path, capsys):
    (tmp_path / "page.md").write_text("Text:\n\n    stopsheet run my.yaml --fast   # quickly\n")
    (arguments,) = calls(tmp_path / "page.md")
    with pytest.raises(SystemExit):
        read_call(arguments)
    assert "--fast" in capsys.readouterr().err


def test_every_piece_of_an_input_file_on_a_page_is_accepted():
    refused, seen = [], set()
    for page in PAGES:
        for block in [] if page.name in NO_INPUT else blocks(page.read_text(encoding="utf-8")):
            piece = written(block)
            if piece:
                by = {name for name, schema in schemas().items() if schema.is_valid(piece)}
                seen |= by
                refused += [] if by else [(page.name, list(piece))]
    assert refused == []
    assert {"test.schema", "config.schema", "method.schema", "target.schema", "duty.schema", "rig.schema"} <= seen


def test_a_wrong_key_is_found():
    for text in ("mu_batch_margins: 0.03", "reduction:\n  averages: time", "events: [{dates: 2026-03-10}]"):
        assert not any(schema.is_valid(written(text.splitlines())) for schema in schemas().values()), text
