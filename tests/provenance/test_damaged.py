"""Whatever stands in results that were damaged or written by hand, it is told in words and nothing falls over."""

import json
import shutil

import pytest

from pipeline import cli
from pipeline.errors import InputError
from pipeline.inputs import seen
from pipeline.provenance.trace import _raw, lines, traced
from pipeline.provenance.verify import Verified, verified
from pipeline.provenance.verify import lines as verify_lines
from pipeline.report import sheet
from tests.report import makers

ODD = (
    None,
    [],
    {},
    "text",
    7,
    [1, "a"],
    {"a": [1]},
    {"settings": 3},
    {"settings": {"wear": 3}, "revisions": 4},
    {"..": "x"},
    {"": ""},
)


@pytest.fixture
def results(tmp_path):
    """Hand-made results of two tests, a sheet among them; the archive beside them, no config."""
    arguments = makers.results_of_compound(tmp_path, ("m4-a", "m4-b"))
    sheet.print_json(sheet.made(**arguments), arguments["into"] / "sheet.json")
    channels = tmp_path / "results" / "channels"
    channels.mkdir(exist_ok=True)
    for test in arguments["tests"]:
        (channels / f"{test}.json").write_text(
            json.dumps({"test": test, "files": {"test.yaml": "0" * 32}, "stamp": {"inputs": {}}})
        )
    return tmp_path / "results"


def test_results_without_records_are_told_and_not_passed(results):
    found = verified(results)
    assert found.compared["numbers"] > 100 and not [one for one in found.differences if one.kind == "numbers"]
    assert {(one.kind, one.place) for one in found.differences if not one.known} >= {
        ("raw files", "m4-a"),
        ("raw files", "m4-b"),
    }
    assert cli.run(["verify", str(results)]) == 3


@pytest.mark.parametrize("odd", ODD, ids=map(str, range(len(ODD))))
def test_odd_stamps_and_records_do_not_end_it(results, odd):
    for path in results.rglob("*.json"):
        content = json.loads(path.read_text())
        if "stamp" in content and path.name != "sheet.json":
            path.write_text(json.dumps(content | {"stamp": odd, "files": odd}))
        elif path.name == "friction.json":
            path.write_text(
                json.dumps(content | {"stamp": {"inputs": odd, "settings": odd, "revision": odd, "software": odd}})
            )
    for path in (results / "first").rglob("*.json"):
        content = json.loads(path.read_text())
        parts = [key for key in ("diagnostics", "components", "charts", "batches", "tests_left_out") if key in content]
        if parts and path.name not in ("sheet.json", "charts.json"):
            path.write_text(json.dumps(content | dict.fromkeys(parts, odd)))
    made = results / "first" / ".made"
    made.mkdir()
    (made / "index.html.json").write_text(json.dumps(odd))
    verified(results)
    place = results / "first" / "compounds" / "marram-4" / "sheet.json"
    assert lines(traced(place, "Friction: window, lower end"))
    assert lines(traced(place, "disc: wear per stop"))


@pytest.mark.parametrize(
    ("lost", "told"),
    [
        ("compounds/marram-4/friction.json", "compounds/marram-4/friction.json: the file is not there"),
        ("tests/m4-a/stops.parquet", "tests/m4-a: its stops are not known, as stops.parquet is not there"),
    ],
)
def test_a_way_with_a_step_that_is_gone_is_no_pass(results, lost, told, capsys):
    place = results / "first" / "compounds" / "marram-4" / "sheet.json"
    assert told not in traced(place, "Friction: window, lower end").differences
    (results / "first" / lost).unlink()
    assert cli.run(["trace", str(place), "Friction: window, lower end"]) == 3
    assert f"differs: {told}" in capsys.readouterr().out


def test_a_file_of_json_that_cannot_be_read_is_a_difference(results):
    (results / "first/compounds/marram-4/friction.json").write_text("{")
    place = results / "first" / "compounds" / "marram-4" / "sheet.json"
    assert (
        "compounds/marram-4/friction.json: the file is no JSON of a stage"
        in traced(place, "Friction: window, lower end").differences
    )


def test_inputs_of_a_test_whose_results_are_gone_are_told_as_gone(results):
    """And not as files of the workspace that a config would lead to."""
    stamp = {"inputs": {"m4-a/wear.json": "0" * 16}}
    path = results / "first/compounds/marram-4/friction.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | {"stamp": stamp}))
    shutil.rmtree(results / "first/tests/m4-a")
    told = {one.what for one in verified(results).differences if one.place == "first/compounds/marram-4/friction.json"}
    assert "m4-a/wear.json, which it was made from, is gone" in told
    assert not [what for what in told if what.startswith("m4-a") and "--config" in what]


@pytest.mark.parametrize("content", [b"", b"\xff\xfe", b"[]", b"7", b"{}", b'{"compound": 7}', b"[" * 5000])
def test_a_sheet_that_is_none_is_told(results, content):
    place = results / "first" / "compounds" / "marram-4" / "sheet.json"
    place.write_bytes(content)
    assert [one for one in verified(results).differences if one.kind == "numbers" and one.place.endswith("sheet.json")]
    with pytest.raises(InputError):
        traced(place, "window, lower end")


def test_a_figure_that_moved_in_the_file_is_told(results):
    folder = results / "first" / "compounds" / "marram-4"
    content = json.loads((folder / "friction.json").read_text())
    was = content["window"]["low_c"]
    content["window"]["low_c"] = was * 1.001
    (folder / "friction.json").write_text(json.dumps(content))
    told = [one.what for one in verified(results).differences if one.kind == "numbers"]
    assert told and all(f"{was:g} is printed" in one and "/window/low_c" in one for one in told)
    differs = traced(folder / "sheet.json", "Friction: window, lower end").differences
    assert [one for one in differs if one.startswith("compounds/marram-4/friction.json now holds")]


def test_a_raw_file_is_told_as_it_is_now(tmp_path):
    """As read, changed since, gone, and one that the record does not name."""
    (tmp_path / "same.csv").write_text("a")
    (tmp_path / "other.csv").write_text("b")
    known = {name: seen.of_file(tmp_path / name) for name in ("same.csv", "other.csv")} | {"gone.csv": "0" * 32}
    (tmp_path / "other.csv").write_text("c")
    names = ("same.csv", "other.csv", "gone.csv", "new.csv")
    states = [_raw(name, known, tmp_path).now for name in names]
    assert states == ["as read", "changed since", "not there", "not recorded"]
    assert _raw("same.csv", known, None).now == "not there"


@pytest.mark.parametrize(("own", "said"), [(None, "the file holds no number"), (12.5, "no value is printed")])
def test_a_value_on_one_side_alone_differs(results, own, said):
    """Printed where the file has none, or none printed where the file has one: neither is left uncompared."""
    folder = results / "first" / "compounds" / "marram-4"
    place, sheet_ = folder / "friction.json", json.loads((folder / "sheet.json").read_text())
    content = json.loads(place.read_text())
    if own is None:
        content["window"]["low_c"] = None
    else:
        for section in sheet_["sections"]:
            for one in section["numbers"]:
                if one["key"] == "/window/low_c":
                    one |= {"value": None, "text": "not given: none", "why": "none"}
    place.write_text(json.dumps(content))
    (folder / "sheet.json").write_text(json.dumps(sheet_))
    told = [one.what for one in verified(results).differences if one.kind == "numbers"]
    assert told and all(said in one and "/window/low_c" in one for one in told)
    assert traced(folder / "sheet.json", "Friction: window, lower end").differences


def test_what_is_told_of_many_files_in_the_same_words_is_one_line():
    found = Verified()
    for place in ("a.json", "b.json", "c.json"):
        found.lack("settings", place, "nothing says where its method is")
    found.lack("settings", "d.json", "another reason")
    rows = verify_lines(found)
    assert rows[0] == "settings: 4 not compared" and rows[-1].endswith("4 not compared")
    assert rows[1:3] == ["  a.json and 2 more: nothing says where its method is", "  d.json: another reason"]


def test_results_without_their_channels_are_told_as_that(results):
    shutil.rmtree(results / "channels")
    with pytest.raises(InputError, match=r"holds results of \S+, but `channels`, which they were made from, is gone"):
        verified(results)


def test_what_is_no_results_folder_is_told(tmp_path, capsys):
    assert cli.run(["verify", str(tmp_path / "nothing")]) == 2
    assert cli.run(["trace", str(tmp_path), "x"]) == 2
    (tmp_path / "sheet.json").write_text("{}")
    assert cli.run(["trace", str(tmp_path / "sheet.json"), "x"]) == 2
    assert "does not stand in the results of a run" in capsys.readouterr().err
