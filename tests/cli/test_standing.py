"""Nothing to do is told without a plan only while every file is as it was: whatever differs leads to the engine."""

import os
import shutil

import pytest

from pipeline.cli import standing
from pipeline.workspace.run import load_run
from tests.recordings.makers import text_test


@pytest.fixture
def config(tmp_path):
    """A workspace with two tests, a target and some results."""
    for name in ("t-1", "t-2"):
        text_test(tmp_path / "archive" / name)
    (tmp_path / "archive" / "t-1" / "linked").symlink_to("recordings")
    (tmp_path / "plain.yaml").write_text("")
    (tmp_path / "targets").mkdir()
    config = tmp_path / "config.yaml"
    config.write_text("archive: archive\nresults: results\nmethods: [plain.yaml]\ntargets: targets/*.yaml\n")
    for name in ("plain/index.html", ".given/wear/t-1", ".snakemake/metadata/x", "run.log"):
        (tmp_path / "results" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "results" / name).write_text("as it was")
    return config


def seen(config):
    load_run.cache_clear()
    found = standing.look(load_run(config))
    return found and (found.given, found.results)


def rewritten(path):
    """Other bytes of equal size under the same time."""
    info, content = path.stat(), path.read_bytes()
    path.write_bytes(content[:-1] + b"?")
    os.utime(path, ns=(info.st_atime_ns, info.st_mtime_ns))


def relinked(path):
    path.unlink()
    path.symlink_to("../t-2/recordings")


GIVEN = {
    "a recording with other bytes of equal size and time": lambda p: rewritten(
        next((p / "archive" / "t-1" / "recordings").iterdir())
    ),
    "a recording more": lambda p: (p / "archive" / "t-2" / "recordings" / "more.csv").write_text(""),
    "a recording less": lambda p: next((p / "archive" / "t-2" / "recordings").iterdir()).unlink(),
    "an empty folder": lambda p: (p / "archive" / "t-3").mkdir(),
    "a test taken out": lambda p: shutil.move(p / "archive" / "t-2", p / "out"),
    "a link that leads elsewhere": lambda p: relinked(p / "archive" / "t-1" / "linked"),
    "a method": lambda p: (p / "plain.yaml").write_text("friction: {coverage: 95 %}\n"),
    "a target that is new": lambda p: (p / "targets" / "x.yaml").write_text("compound: Marram 4\n"),
    "the config": lambda p: (p / "config.yaml").write_text((p / "config.yaml").read_text() + "\n# more\n"),
}
RESULTS = {
    "a result with other bytes of equal size and time": lambda p: rewritten(p / "results" / "plain" / "index.html"),
    "a deleted result": lambda p: (p / "results" / "plain" / "index.html").unlink(),
    "a deleted note of what was given": lambda p: shutil.rmtree(p / "results" / ".given"),
    "a record of a fault": lambda p: (p / "results" / "plain" / "index.html.fault.json").write_text("{}"),
}
OWN = {
    "nothing": lambda p: None,
    "the engine's memory": lambda p: (p / "results" / ".snakemake" / "metadata" / "y").write_text(""),
    "the log": lambda p: (p / "results" / "run.log").unlink(),
}


@pytest.mark.parametrize("what", GIVEN)
def test_whatever_is_given_otherwise_is_seen(config, what):
    before = seen(config)
    GIVEN[what](config.parent)
    assert seen(config)[0] != before[0]


@pytest.mark.parametrize("what", RESULTS)
def test_whatever_differs_among_the_results_is_seen(config, what):
    before = seen(config)
    RESULTS[what](config.parent)
    now = seen(config)
    assert now[0] == before[0] and now[1] != before[1]


@pytest.mark.parametrize("what", OWN)
def test_what_a_run_keeps_for_itself_is_not_looked_at(config, what):
    before = seen(config)
    OWN[what](config.parent)
    assert seen(config) == before


def test_other_software_is_seen(config, monkeypatch):
    before = seen(config)
    monkeypatch.setattr(standing, "software", lambda: "another version")
    assert seen(config)[0] != before[0]


def test_a_folder_that_may_not_be_listed_gives_no_look(config, monkeypatch):
    known = os.scandir

    def scandir(place):
        if str(place).endswith("recordings"):
            raise PermissionError(13, "Permission denied", place)
        return known(place)

    monkeypatch.setattr(os, "scandir", scandir)
    assert standing.look(load_run(config)) is None


def test_a_run_is_noted_and_holds_until_something_differs(config, monkeypatch):
    monkeypatch.setattr(standing, "UNSETTLED_S", -60.0)  # the files are new
    run = load_run(config)
    standing.note(run, standing.look(run), [])
    found = standing.noted(config.parent / "results")
    assert found.up_to_date > 10 and found.methods == []
    assert found.holds(standing.look(run)) and not found.holds(None)
    rewritten(config.parent / "results" / "plain" / "index.html")
    assert not found.holds(standing.look(run))


def test_files_that_changed_just_before_or_during_the_run_leave_no_note(config, monkeypatch):
    run, results = load_run(config), config.parent / "results"
    standing.note(run, standing.look(run), [])
    assert standing.noted(results) is None
    monkeypatch.setattr(standing, "UNSETTLED_S", -60.0)
    before = standing.look(run)
    standing.note(run, before, [])
    assert standing.noted(results) is not None
    rewritten(next((config.parent / "archive" / "t-1" / "recordings").iterdir()))
    standing.note(run, before, [])
    assert standing.noted(results) is None


def test_a_note_that_cannot_be_read_is_none(config):
    for text in ("{", "{}", "[]", '{"given": 1}'):
        (config.parent / "results" / standing.NOTE).write_text(text)
        assert standing.noted(config.parent / "results") is None
