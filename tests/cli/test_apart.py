"""Which tests and compounds differ since a run that left nothing to do, and what else leads to a plan of all."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline.archive.scan import Scan
from pipeline.cli import engine, standing, workspace
from pipeline.cli.apart import owner
from pipeline.cli.progress import Progress
from pipeline.cli.workspace import Parts
from pipeline.workspace import telling
from pipeline.workspace.planned import Part, part_in
from pipeline.workspace.run import load_run
from pipeline.workspace.targets import count
from tests.recordings.makers import card, text_test, write_card

FILES = (
    "plain/index.html",
    "plain/rigs.json",
    "plain/comparisons/a--b/comparison.json",
    "assets/plotly.js",
    ".given/archive/rigs",
    ".given/form/wear",
    *(f"plain/tests/t-{n}/{name}" for n in (1, 2, 3) for name in ("stops.parquet", ".made/stops.parquet.json", "extracts/rigs.json")),
    *(f"plain/compounds/{slug}/{name}" for slug in ("a", "b") for name in ("friction.json", "figures/wear.svg")),
    *(f"channels/t-{n}.{kind}" for n in (1, 2, 3) for kind in ("json", "parquet")),
    *(f".seen/t-{n}.json" for n in (1, 2, 3)),
    ".given/calibrations/plain/t-1",
    ".given/members/a",
)  # fmt: skip


def given_card(folder, compound):
    content = card()
    content["compound"] = compound
    write_card(folder, content)


@pytest.fixture
def config(tmp_path, monkeypatch):
    """t-1 and t-2 of compound A, t-3 of B, all noted as up to date."""
    monkeypatch.setattr(standing, "UNSETTLED_S", -60.0)  # the files are new
    for name, compound in (("t-1", "A"), ("t-2", "A"), ("t-3", "B")):
        text_test(tmp_path / "archive" / name)
        given_card(tmp_path / "archive" / name, compound)
    (tmp_path / "plain.yaml").write_text("")
    config = tmp_path / "config.yaml"
    config.write_text("archive: archive\nresults: results\nmethods: [plain.yaml]\ntargets: archive/*/of_a.yaml\n")
    (tmp_path / "archive" / "t-3" / "of_a.yaml").write_text("compound: A\nmu: [0.3, 0.6]\n")
    for name in FILES:
        (tmp_path / "results" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "results" / name).write_text("as it was")
    run = loaded(config)
    standing.note(run, standing.look(run), [])
    return config


def loaded(config):
    load_run.cache_clear()
    return load_run(config)


def differing(config):
    run = loaded(config)
    part = standing.differing(run, standing.noted(config.parent / "results"), standing.look(run))
    return part and ("".join(sorted(test[-1] for test in part.tests)), "".join(sorted(part.compounds)))


def added(p):
    text_test(p / "archive" / "t-4")
    given_card(p / "archive" / "t-4", "B")


PARTS = {
    "nothing": (lambda p: None, ("", "")),
    "a recording": (lambda p: (p / "archive" / "t-1" / "recordings" / "0002.csv").write_text("x"), ("12", "a")),
    "a recording more": (lambda p: (p / "archive" / "t-3" / "more.csv").write_text("x"), ("3", "b")),
    "a card that names another compound": (lambda p: given_card(p / "archive" / "t-2", "B"), ("123", "ab")),
    "a card that names a new compound": (lambda p: given_card(p / "archive" / "t-2", "C"), ("12", "ac")),
    "a card that nobody can read": (lambda p: (p / "archive" / "t-3" / "test.yaml").write_text("["), ("3", "")),
    "a test more": (added, ("34", "b")),
    "a result of a test": (lambda p: (p / "results/plain/tests/t-3/stops.parquet").unlink(), ("3", "b")),
    "channels of a test": (lambda p: (p / "results/channels/t-1.parquet").unlink(), ("12", "a")),
    "an extract of a test": (lambda p: (p / "results/plain/tests/t-3/extracts/rigs.json").write_text("{}"), ("3", "b")),
    "a record of a fault in a test": (lambda p: (p / "results/plain/tests/t-3/wear.json.fault.json").write_text("{}"), ("3", "b")),
    "a note of what was given of a test": (lambda p: (p / "results/.given/calibrations/plain/t-1").unlink(), ("12", "a")),
    "a list of a test's files": (lambda p: (p / "results/.seen/t-3.json").unlink(), ("3", "b")),
    "a figure of a compound": (lambda p: (p / "results/plain/compounds/b/figures/wear.svg").unlink(), ("3", "b")),
    "a note of a compound's tests": (lambda p: (p / "results/.given/members/a").unlink(), ("12", "a")),
    "results of the whole archive": (lambda p: (p / "results/plain/rigs.json").write_text("{}"), ("", "")),
    "the index": (lambda p: (p / "results/plain/index.html").unlink(), ("", "")),
}  # fmt: skip
ALL = {
    "settings as the last run had them": lambda p: _written(p / "results/plain/.settings/wear.json"),
    "the config": lambda p: (p / "config.yaml").write_text((p / "config.yaml").read_text() + "# more\n"),
    "the method": lambda p: (p / "plain.yaml").write_text("friction: {coverage: 95 %}\n"),
    "a folder that is no test": lambda p: (p / "archive" / "-x").mkdir(),
    "a file beside the tests": lambda p: (p / "archive" / "register.csv").write_text("x"),
    "a comparison": lambda p: (p / "results/plain/comparisons/a--b/comparison.json").unlink(),
    "what all pages share": lambda p: shutil.rmtree(p / "results/assets"),
    "the form of results": lambda p: (p / "results/.given/form/wear").unlink(),
    "a record of a fault in channels": lambda p: (p / "results/channels/t-1.json.fault.json").write_text("{}"),
    "a stage of channels to be tried again": lambda p: _written(p / "results/channels/.again/t-1.channels"),
    "a test taken out": lambda p: shutil.move(p / "archive" / "t-3", p / "out"),
    "a target that the config names in a test's folder": lambda p: (p / "archive/t-3/of_a.yaml").write_text("compound: A\nmu: [0.3, 0.5]\n"),
    "a link to a folder, whose files stand elsewhere": lambda p: (p / "archive" / "t-1" / "more").symlink_to("../t-3/recordings"),
}  # fmt: skip


def _written(path):
    path.parent.mkdir()
    path.write_text("x")


@pytest.mark.parametrize("what", PARTS)
def test_what_differs_is_told_with_its_compound_and_the_tests_of_that(config, what):
    change, part = PARTS[what]
    change(config.parent)
    assert differing(config) == part


@pytest.mark.parametrize("what", ALL)
def test_whatever_may_concern_others_leads_to_a_plan_of_all(config, what):
    ALL[what](config.parent)
    assert differing(config) is None


def test_a_compound_that_a_sheet_leads_to_under_another_name_leads_to_a_plan_of_all(config):
    config.write_text(config.read_text() + "compare_compounds: [[A, x y]]\n")
    given_card(config.parent / "archive" / "t-3", "x y")
    run = loaded(config)
    standing.note(run, standing.look(run), [])
    assert differing(config) == ("", "")
    given_card(config.parent / "archive" / "t-2", "X Y")  # before it in the order of names: x-y is now another's folder
    assert dict(loaded(config).slug_of) == {"A": "a", "X Y": "x-y", "x y": "x-y-2"}
    assert differing(config) is None


def test_other_software_leads_to_a_plan_of_all(config, monkeypatch):
    monkeypatch.setattr(standing, "software", lambda: "another version")
    assert differing(config) is None


def test_without_a_note_all_is_planned(config):
    (config.parent / "results" / standing.NOTE).unlink()
    assert differing(config) is None


def test_what_a_run_has_moved_is_told_beside_what_all_rest_on(config):
    run, last = loaded(config), standing.noted(config.parent / "results")
    (config.parent / "results/plain/rigs.json").write_text("{}")
    (config.parent / "results/plain/tests/t-3/extracts/rigs.json").write_text("{}")
    (config.parent / "results/plain/compounds/a/friction.json").write_text("{}")
    part = standing.moved(run, last, standing.look(run))
    assert (part.tests, part.compounds) == ({"t-3"}, {"a", "b"})


def test_what_is_edited_while_a_run_works_on_it_leads_to_a_plan_of_all(config):
    """Of the first part of the run nothing is known of it: the stages of its siblings would stand."""
    (config.parent / "results/plain/tests/t-3/stops.parquet").unlink()
    run, last = loaded(config), standing.noted(config.parent / "results")
    parts = Parts(run, last, standing.look(run))
    assert parts.first == parts.then == Part(frozenset({"t-3"}), frozenset({"b"}))
    (config.parent / "archive" / "t-3" / "recordings" / "0002.csv").write_text("x")
    assert parts.then is None


@pytest.mark.parametrize("what", ["a recording", "a card that names another compound", "a card that nobody can read"])
def test_what_is_edited_elsewhere_meanwhile_is_left_to_the_next_run(config, what):
    """It is not looked at: the note has it as it was when the run began, though the run ends after the edit."""
    stops = config.parent / "results/plain/tests/t-3/stops.parquet"
    stops.unlink()
    run, last = loaded(config), standing.noted(config.parent / "results")
    before = standing.look(run)
    parts = Parts(run, last, before)
    place, edit = (
        config.parent,
        {"a card that nobody can read": lambda p: (p / "archive" / "t-1" / "test.yaml").write_text("[")},
    )
    (edit.get(what) or PARTS[what][0])(place)
    assert parts.then == parts.first == Part(frozenset({"t-3"}), frozenset({"b"}))
    stops.write_text("made again")
    standing.note(run, before, [], parts.first)
    tests, compounds = differing(config)
    assert {"1", "2"} & set(tests) and "a" in compounds
    assert not standing.noted(place / "results").holds(standing.look(loaded(config)))


def test_a_part_noted_is_what_a_look_at_all_finds(config):
    (config.parent / "results/plain/tests/t-3/stops.parquet").unlink()
    run = loaded(config)
    before = standing.look(run)
    (config.parent / "results/plain/tests/t-3/stops.parquet").write_text("made again")
    standing.note(run, before, [], Part(frozenset({"t-3"}), frozenset({"b"})))
    assert standing.noted(config.parent / "results").holds(standing.look(loaded(config)))


def test_a_test_that_comes_or_goes_meanwhile_is_seen_by_the_next_run(config):
    run = loaded(config)
    before = standing.look(run)
    shutil.move(config.parent / "archive" / "t-1", config.parent / "out")
    standing.note(run, before, [], Part(frozenset({"t-3"}), frozenset({"b"})))
    assert not standing.noted(config.parent / "results").holds(standing.look(loaded(config)))
    added(config.parent)
    assert standing.look(run, before, Part(frozenset({"t-3"}), frozenset({"b"}))).given != before.given


def test_a_part_of_an_archive_that_is_another_by_now_is_none(config):
    """The engine takes what is there for up to date where an input has no rule, and would say nothing."""
    before, place = loaded(config).found, config.parent / "part.json"
    part = Part(frozenset({"t-3"}), frozenset({"b"}))
    part.write(place, before)
    assert part_in(place, loaded(config).found) == part
    added(config.parent)
    assert part_in(place, loaded(config).found) is None


def test_where_something_failed_the_rest_is_planned_for_what_differs(config, monkeypatch):
    (config.parent / "results/plain/extracts.json").write_text("{}")
    (config.parent / "archive" / "t-1" / "recordings" / "0002.csv").write_text("x")
    called = []

    def drive(*_, told, before, **__):
        part = Path(told[telling.PART])
        called.append((told[telling.CUT], part_in(part, loaded(config).found) if part.is_file() else None))
        return 1, before or engine.Heard(said=["stopsheet: t-1: stage stops was killed"])

    monkeypatch.setattr(engine, "drive", drive)
    assert workspace.run(config=config, cores=1) == 1
    part = Part(frozenset({"t-1", "t-2"}), frozenset({"a"}))
    assert called == [(telling.FIRST, part), ("", part)]


def test_a_stage_that_ran_twice_is_one_of_those_that_were_not_up_to_date(config):
    told, twice = Progress(), telling.Job(0, "extracts", "", "plain")
    for _ in range(2):
        told.hear(telling.Event("planned", job=twice))
        told.hear(telling.Event("done", 0))
        told.plan_anew()
    run = loaded(config)
    assert len(told.jobs) == 2 and workspace._ready(run, told) == count(run) - 1


def test_an_archive_is_the_same_in_every_process():
    """Of which several tests are kept tables: their order in a set is another in each."""
    words = "from pipeline.archive.scan import Scan; print(Scan({}, summary_only=frozenset('abcdefgh')).digest)"
    seeds = ("1", "2", "3")
    said = {
        subprocess.run([sys.executable, "-c", words], env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True, check=True).stdout
        for seed in seeds
    }  # fmt: skip
    assert len(said) == 1 and Scan({}).digest.encode() not in said


@pytest.mark.parametrize(
    ("path", "whose"),
    [
        ("channels/t-1.json", "test t-1"),
        ("channels/t-1.json.fault.txt", ""),
        ("channels/t-9.json", ""),
        ("plain/tests/t-1", "test t-1"),
        ("plain/tests", "always"),
        ("plain/tests/t-9/LEFT_OVER.txt", "test t-9"),
        (".given/archive/tests", "always"),
        (".given/archive/facts", ""),
        ("plain/.made/rigs.json.json", "always"),
        ("plain/.settings/wear.json", ""),
        ("other/index.html", ""),
        (".given/target/t-1", "test t-1"),
        ("deltas/a--b/delta.json", ""),
        ("plain/rigs/north.html", "always"),
    ],
)
def test_whose_a_result_is(path, whose):
    assert owner(path.split("/"), {"t-1"}, {"plain"}) == whose
