"""`stopsheet new-test`: the card that it writes, its blanks, what is taken and told, and the schemas that editors check it by."""

from __future__ import annotations

import fnmatch
import json
import re
from dataclasses import replace

import jsonschema
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.archive.scan import scan
from pipeline.cli import run
from pipeline.inputs.blanks import BLANK, blanks
from pipeline.inputs.yaml_text import _TextLoader
from pipeline.inspection.card import quoted, wildcard
from pipeline.workspace.input_files import FILES, text
from tests.conftest import REPO
from tests.inspection.messy import write
from tests.inspection.walking import PLAIN, made


def test_blanks_are_named_with_line_key_and_what_to_write(tmp_path, capsys):
    folder = made(tmp_path, PLAIN)
    said = capsys.readouterr().out
    found = blanks((folder / "test.yaml").read_text(encoding="utf-8"))
    keys = {one.key for one in found}
    assert keys == {
        "compound",
        "batch",
        "specimen",
        "date",
        "rig",
        "brake.effective_radius",
        "brake.pistons_per_side",
        "brake.pad_area",
        "inertia",
    }
    lines = (folder / "test.yaml").read_text(encoding="utf-8").splitlines()
    for one in found:
        assert one.key.split(".")[-1] in lines[one.line - 1] and one.hint
        assert f"line {one.line}: {one.key}" in said
    assert run(["check", str(folder)]) == 3
    checked = capsys.readouterr().out
    assert checked.count("a blank to fill in") == 9 and all(f"line {one.line}: {one.key}" in checked for one in found)
    assert scan(folder.parent).tests == {"t1": None}  # no compound of that name is made


def test_a_blank_anywhere_in_an_input_file_is_refused(tmp_path):
    path = tmp_path / "test.yaml"
    path.write_text(
        "schema: 1\ncompound: x\nblocks:\n  - {name: a, stops: FILL_IN}\n  - {name: b, pressure: FILL_IN bar}  # such as 40 bar\n"
    )
    found = blanks(path.read_text())
    assert [(one.line, one.key, one.hint) for one in found] == [
        (4, "blocks.entry 1.stops", ""),
        (5, "blocks.entry 2.pressure", "such as 40 bar"),
    ]


def test_what_the_header_says_is_taken_where_it_is_clear(tmp_path):
    before = (
        "Werkstoff: Marram 4",
        "Charge;M4-2406",
        "Datum: 02.03.2026",
        "Trägheitsmoment [kg m^2]: 26",
        "Prüfstand = Nord",
        "Rollradius: 318",
        "",
    )
    folder = made(tmp_path, replace(PLAIN, before=before))
    text = (folder / "test.yaml").read_text(encoding="utf-8")
    for line in ("compound: Marram 4", "batch: M4-2406", "date: 2026-03-02", "rig: Nord"):
        assert f"{line}  # from the recordings" in text, line
    assert re.search(r'inertia: "?26 kg m\^2"?  # from the recordings', text)


def test_linked_recordings_are_the_same_file(tmp_path):
    folder = made(tmp_path, PLAIN, "--recordings", "link")
    assert (folder / "recordings" / "Bremsung 1.csv").stat().st_ino == (
        tmp_path / "source" / "Bremsung 1.csv"
    ).stat().st_ino


def test_what_is_not_taken_is_told(tmp_path, capsys):
    paths = write(PLAIN, tmp_path / "source")
    (tmp_path / "source" / "note.pdf").write_bytes(b"%PDF-1.7")
    paths[3].write_text("\n".join(paths[3].read_text().splitlines()[:30]) + "\n")
    assert run(["new-test", str(tmp_path / "archive" / "t1"), "--from", str(tmp_path / "source")]) == 0
    said = capsys.readouterr().out
    assert "not taken: note.pdf: is a PDF document" in said and "odd: Bremsung 4.csv holds 0 brakings" in said


def test_a_folder_that_is_there_is_left_alone(tmp_path, capsys):
    folder = made(tmp_path, PLAIN)
    before = (folder / "test.yaml").read_bytes()
    assert run(["new-test", str(folder), "--from", str(tmp_path / "source")]) == 2
    assert "not empty" in capsys.readouterr().err and (folder / "test.yaml").read_bytes() == before


def test_nothing_is_left_where_nothing_can_be_read(tmp_path, capsys):
    (tmp_path / "source").mkdir()
    (tmp_path / "source" / "a.pdf").write_bytes(b"%PDF-1.7")
    assert run(["new-test", str(tmp_path / "archive" / "t1"), "--from", str(tmp_path / "source")]) == 2
    assert "is a PDF document" in capsys.readouterr().err and not (tmp_path / "archive").exists()


def test_the_schema_takes_the_samples_cards_and_names_what_is_wrong():
    schema = json.loads(text("test"))
    for folder in sorted((REPO / "rig_samples" / "archive").iterdir())[:3]:
        content = json.loads(json.dumps(yaml.safe_load((folder / "test.yaml").read_text()), default=str))
        jsonschema.validate(content, schema)
        for wrong in ({"shaft_colour": "red"}, {"blocks": [{**content["blocks"][0], "kind": "snubb"}]}):
            with pytest.raises(jsonschema.ValidationError):
                jsonschema.validate({**content, **wrong}, schema)
    assert "mm" in json.dumps(schema["$defs"]["FrictionRing"])


@pytest.mark.parametrize(("pattern", "names"), [("config.yaml", ["config"]), ("methods/*.yaml", ["method"]), ("targets/*.yaml", ["target"]), ("rigs/*.yaml", ["rig"]),
                                                ("duties/*.yaml", ["duty", "logged-duty"])])  # fmt: skip
def test_the_schemas_of_the_other_inputs_take_the_samples(pattern, names):
    """A file is one of the forms that it may have; another key is refused by each."""
    assert set(names) <= set(FILES)
    paths = sorted((REPO / "rig_samples").glob(pattern))
    assert paths
    for path in paths:
        content = json.loads(json.dumps(yaml.safe_load(path.read_text()) or {}, default=str))
        checks = [jsonschema.Draft7Validator(json.loads(text(name))) for name in names]
        assert any(check.is_valid(content) for check in checks), [
            error.message for error in checks[0].iter_errors(content)
        ]
        assert not any(check.is_valid({**content, "shaft_colour": "red"}) for check in checks)


@given(st.text(min_size=1, max_size=60))
@settings(max_examples=300, deadline=None)
def test_any_name_is_read_back_from_the_card_as_it_was(text):
    """In braces and alone, whatever it holds: quotes, colons, hashes, line ends, other scripts."""
    if any(0xD800 <= ord(c) <= 0xDFFF for c in text):
        return
    written = f"a: {quoted(text)}\nb: {{column: {quoted(text)}, unit: s}}  # {BLANK}\n"
    assert yaml.safe_load(written.replace("a: ", "a: ", 1))["b"]["unit"] == "s"
    content = yaml.load(written, Loader=_TextLoader)
    assert content["a"] == text and content["b"]["column"] == text


@given(
    st.lists(
        st.text(alphabet="abStop 01/#-_[]*", min_size=1, max_size=12).filter(
            lambda t: not t.endswith("/") and not t.startswith("/") and "//" not in t
        ),
        min_size=1,
        max_size=6,
        unique=True,
    )
)
@settings(max_examples=200, deadline=None)
def test_a_wildcard_matches_all_that_is_wanted(parts):
    """Level by level, as the readers match."""
    depth = parts[0].count("/")
    wanted = [part for part in parts if part.count("/") == depth]
    pattern = wildcard(wanted, parts)
    for part in wanted:
        levels, asked = part.split("/"), pattern.split("/")
        assert len(levels) == len(asked) and all(
            fnmatch.fnmatchcase(a, b) for a, b in zip(levels, asked, strict=True)
        ), (pattern, part)
