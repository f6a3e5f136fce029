"""Every wrong input is told by file, line, what was found, what is accepted and what to do; never in a library's words."""

from collections import Counter

import pytest

from pipeline.archive.card import load_card
from pipeline.cli import calls
from pipeline.errors import Complaint, InputError
from pipeline.inputs import yaml_text
from pipeline.workspace.check import checked_place
from pipeline.workspace.run import load_run
from tests.inputs import wrong
from tests.inputs.wrong import CALLS, PLACES, ROWS, Wrong, WrongCall

#: words of libraries, which say nothing to who wrote the file
LIBRARY = (
    "Input should", "valid dictionary", "valid date", "validation", "pydantic", "yaml", "did not find", "token", "datetime", "Tuple should",
    "literal", "NoneType", "Errno", "Traceback", "magic",
)  # fmt: skip


def complaints(config) -> list[Complaint]:
    load_run.cache_clear()
    try:
        return [problem.complaint for problem in checked_place(config).problems]
    except InputError as error:
        return list(error.complaints)


def changed(base, row: Wrong) -> str:
    """The file with the change written; its new text."""
    path = base / PLACES[row.file]
    before = path.read_text(encoding="utf-8")
    if row.old == "*":
        after = row.new
    elif row.old in (",", ""):
        after = before.replace(row.old, row.new) if row.old else before + row.new
    else:
        assert row.old in before
        after = before.replace(row.old, row.new, 1)
    path.write_bytes(after.encode("latin-1" if row.old == "*" else "utf-8"))
    return after


def line_of(text: str, at: str) -> int:
    """The line that holds a text; a number, alone or behind a file's name, is the line itself."""
    number = at.rpartition(":")[2] if ".csv:" in at else at
    return int(number) if number.isdigit() else text[: text.index(at)].count("\n") + 1


def test_the_sound_workspace_has_no_complaint(tmp_path):
    assert complaints(wrong.write(tmp_path)) == []


def test_there_are_enough_of_every_kind():
    kinds = Counter(row.file for row in ROWS)
    assert sum(kinds.values()) + len(CALLS) >= 90 and set(kinds) == set(PLACES) and min(kinds.values()) >= 2


@pytest.mark.parametrize("row", ROWS, ids=[f"{at} {row.name}" for at, row in enumerate(ROWS)])
def test_a_wrong_input_is_told_in_five_parts(tmp_path, row):
    config = wrong.write(tmp_path)
    text = changed(tmp_path, row)
    said = complaints(config)
    file = (
        row.at.split(":")[0].rpartition("/")[2] if row.at and ".csv:" in row.at else PLACES[row.file].rpartition("/")[2]
    )
    line = None if row.at is None else line_of(text, row.at)
    shown = [f"{c.file}|{c.line}|{c.key}|{c.found}|{c.accepted}|{c.mend}" for c in said]
    (own,) = [
        c
        for c in said
        if c.file.rpartition("/")[2] == file
        and row.found in c.found
        and row.accepted in c.accepted
        and row.mend in c.mend
    ] or pytest.fail(f"none fits of {shown}")
    assert own.line is not None and line in (None, own.line), shown
    assert own.found and own.accepted and own.mend
    assert not [word for word in LIBRARY if word in own.words.replace(file, "").replace(".yaml", "")], own.words
    assert "\n" not in str(own) and str(own).startswith(f"{own.file}: line {own.line}: ")


@pytest.mark.parametrize("row", CALLS, ids=[" ".join(row.arguments) or "nothing" for row in CALLS])
def test_a_wrong_call_is_told_by_command_found_accepted_and_mend(row: WrongCall, monkeypatch):
    said: list[Complaint] = []
    told = calls.wrong_call
    monkeypatch.setattr(calls, "wrong_call", lambda *given: said.append(told(*given)) or said[-1])
    with pytest.raises(SystemExit) as end:
        calls.read(list(row.arguments))
    (own,) = said
    assert end.value.code == 2 and own.file == row.called
    assert row.found in own.found and row.accepted in own.accepted and own.mend == f"see {row.called} --help"


@pytest.mark.parametrize(("pair", "entry"), [("[280, 580 degC]", 1), ("[280 degC, 580]", 2)])
def test_a_refused_entry_of_a_pair_does_not_make_the_other_one_missing(tmp_path, pair, entry):
    config = wrong.write(tmp_path)
    path = tmp_path / PLACES["target"]
    path.write_text(path.read_text().replace("[280 degC, 580 degC]", pair))
    (own,) = complaints(config)
    assert own.key == f"temperature_window.entry {entry}" and own.found == "a unit is missing"
    path.write_text(path.read_text().replace(pair, "[280 degC]"))
    (own,) = complaints(config)
    assert (own.key, own.found, own.mend) == ("temperature_window.entry 2", "missing", "add this entry")


def test_all_that_is_wrong_in_a_file_is_told_at_once(tmp_path):
    """Values, words, keys, and what holds only between keys: nine faults, one look."""
    config = wrong.write(tmp_path)
    path = tmp_path / PLACES["card"]
    text = path.read_text()
    for old, new in (
        ("date: 2026-03-02", "date: 2.3.2026"), ("effective_radius: 134 mm", "effective_radius: 126 cm"),
        ("inertia: 26 kg m^2", "inertia: 26 kg"), ("rig: north", "rig: north\nshaft_colour: red"), ("kind: snub\n", "kind: snubb\n"),
        ("    pressure: 40 bar", "    pressure: 40"), ("column: Mb", "column: p"), ("    stops: 2", "    stops: two"),
        ("unit: degC}", "unit: bar}"),
    ):  # fmt: skip
        assert old in text
        text = text.replace(old, new, 1)
    path.write_text(text)
    with pytest.raises(InputError) as error:
        load_card(path.parent)
    lines = text.splitlines()
    told = {
        (c.key.split(".")[-1], lines[c.line - 1].strip().split(":")[0].lstrip("- {")) for c in error.value.complaints
    }
    assert len(error.value.complaints) == 9, [str(c) for c in error.value.complaints]
    assert {key for key, _ in told} == {
        "date", "effective_radius", "inertia", "shaft_colour", "kind", "pressure", "column", "stops", "unit",
    }  # fmt: skip
    assert {c.complaint for c in checked_place(config).problems if c.level == "unusable"} == set(error.value.complaints)
    assert "\n" not in str(error.value)


def test_the_version_is_told(capsys):
    with pytest.raises(SystemExit) as end:
        calls.read(["--version"])
    assert end.value.code == 0 and capsys.readouterr().out.startswith("stopsheet ")


def test_a_folder_without_a_card_is_told_what_makes_one(tmp_path):
    config = wrong.write(tmp_path)
    (tmp_path / PLACES["card"]).unlink()
    (own,) = (c for c in complaints(config) if c.file == "test.yaml")
    assert own.found == "is not there" and own.accepted and "stopsheet new-test" in own.mend


@pytest.mark.parametrize("content", ["", "- a\n- b\n", "just words\n"], ids=["empty", "a list", "words"])
@pytest.mark.parametrize("kind", ["card", "config", "target", "duty", "rig", "sheet"])
def test_a_file_that_is_no_mapping_is_told_its_keys(tmp_path, kind, content):
    config = wrong.write(tmp_path)
    (tmp_path / PLACES[kind]).write_text(content)
    own = next(c for c in complaints(config) if c.file == PLACES[kind].rpartition("/")[2])
    assert own.line == 1 and own.accepted.startswith("known keys: ") and own.mend


def test_a_radius_of_nothing_is_told_at_its_key_whatever_the_speeds_are(tmp_path):
    wrong.write(tmp_path)
    path = tmp_path / PLACES["card"]
    for radius, said in (("0 mm", "above zero"), ("-330 mm", "above zero"), ("330", "units accepted"), ("3 km", "5 m")):
        text = wrong.CARD.replace("wear: wear.csv", f"rolling_radius: {radius}\nwear: wear.csv")
        path.write_text(text.replace("[1500 rpm, 700 rpm]", "[150 km/h, 70 km/h]"))
        with pytest.raises(InputError) as error:
            load_card(path.parent)
        (own,) = error.value.complaints
        assert own.key == "rolling_radius" and said in own.accepted


def test_a_file_with_a_fault_in_each_entry_is_parsed_once_for_all_its_lines(tmp_path, monkeypatch):
    wrong.write(tmp_path)
    path = tmp_path / PLACES["card"]
    parsed = []
    compose = yaml_text.yaml.compose
    monkeypatch.setattr(yaml_text.yaml, "compose", lambda *given, **more: parsed.append(1) or compose(*given, **more))
    entry = "  - {name: b%d, kind: stop, stops: 1, speed: 1000 rpm, pressure: 40 bar}\n"
    path.write_text(wrong.CARD.replace("wear: wear.csv\n", "".join(entry % n for n in range(50))))
    with pytest.raises(InputError) as error:
        load_card(path.parent)
    lines = [one.line for one in error.value.complaints]
    assert len(lines) == 50 and lines == list(range(lines[0], lines[0] + 50)) and len(parsed) == 1
