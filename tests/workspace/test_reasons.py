"""Why a stage runs, from what the engine found to differ."""

import json
import re
from pathlib import Path

import pytest

from pipeline.method import Method, settings_of
from pipeline.workspace import run
from pipeline.workspace.reasons import FROM, NEW, OF_ARCHIVE, Differs, reasons
from pipeline.workspace.telling import Event, Job, heard, job, line


def settings(change=None, revisions=None):
    content = json.loads(settings_of(Method(), "friction"))
    content["settings"]["friction"] |= change or {}
    content["revisions"] |= revisions or {}
    return repr(json.dumps(content))


def test_results_that_were_never_there_are_new():
    found = Differs(known=False, missing=["r/stops.parquet"], follows=["channels"], updated=["r/.given/form/stops"])
    assert reasons(found) == [NEW]


def test_results_that_were_lost_are_missing():
    assert reasons(Differs(missing=["r/b.json", "r/a.json"])) == ["results are missing: a.json, b.json"]


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("/r/.given/recordings/t1", "input changed: card or recordings"),
        (".given/wear/t1", "input changed: wear readings"),
        ("/r/.given/calibrations/first/t1", "input changed: calibrations of the rig"),
        ("/r/.given/archive/rigs", "input changed: rig files"),
        ("/r/.given/archive/facts", "input changed: facts of the batches"),
        ("/r/.given/archive/left_out", "input changed: folders or files that are left out"),
        ("/r/.given/target/t1", "input changed: target"),
        ("/r/.given/members/m", "tests were added to the compound or taken out"),
        ("/r/.given/archive/tests", "tests were added or taken out"),
        ("/r/.given/title_block/m", "input changed: title block of the sheet"),
        ("/r/.given/compound/m", "input changed: target or duties of the compound"),
        ("/r/.given/form/wear", "software changed: results have another form"),
        ("/r/first/tests/t1/.again/None.wear", "an earlier fault is tried again"),
        ("/r/first/tests/t1/.lost/None.test_page", "files that it rests on are missing"),
        ("/r/first/tests/t1/extracts/rigs.json", "what it takes of the whole archive changed"),
        ("/r/first/rigs.json", "results it rests on are newer: rigs.json"),
    ],
)
def test_what_was_given_tells_by_its_place_what_changed(path, said):
    assert reasons(Differs(updated=[path])) == [said]


def test_everything_that_a_run_takes_from_the_user_has_its_words():
    source = Path(run.__file__).read_text(encoding="utf-8")
    given = re.findall(r'_given\(\s*"(\w+)", (?:"(\w+)"|\w|f")', source)
    assert len(given) == source.count("self._given(") >= 9
    for kind, name in given:
        assert name in OF_ARCHIVE if kind == "archive" else kind in FROM


def test_a_setting_is_named_with_both_values_and_a_revision_with_both_numbers():
    kept = json.loads(settings_of(Method(), "friction"))
    found = Differs(
        updated=["/r/first/.settings/friction.json"],
        before=[settings()],
        now=[settings({"coverage": 0.95}, {"friction": 99})],
    )
    assert reasons(found) == [
        f"setting changed: friction.coverage {kept['settings']['friction']['coverage']} to 0.95",
        f"code changed: friction revision {kept['revisions']['friction']} to 99",
    ]


def test_many_settings_are_counted():
    keys = list(json.loads(settings_of(Method(), "friction"))["settings"]["friction"])[:5]
    (said,) = reasons(Differs(before=[settings()], now=[settings(dict.fromkeys(keys, "x"))]))
    assert said.endswith(", 2 more")


def test_the_readers_revision_is_no_input():
    of_file = ["/r/.given/recordings/t1"]
    assert reasons(Differs(before=["5"], now=["6"], updated=of_file)) == [
        "code changed: reading of recordings, revision 5 to 6"
    ]
    both = reasons(Differs(before=["5", "'ab'"], now=["6", "'cd'"], updated=of_file))
    assert both == ["code changed: reading of recordings, revision 5 to 6", "input changed: card or recordings"]


def test_something_is_always_said():
    assert reasons(Differs()) == ["what it is called with changed"]
    assert reasons(Differs(others=True, follows=["wear", "wear"])) == [
        "tests or files were added or removed",
        "follows wear",
    ]


@pytest.mark.parametrize(
    ("wildcards", "subject", "method"),
    [
        ({"test": "t1"}, "t1", ""),
        ({"method": "first", "test": "t1"}, "t1", "first"),
        ({"method": "first"}, "", "first"),
        ({"method": "first", "rig": "north"}, "rig north", "first"),
        ({"method": "first", "one": "x", "other": "y"}, "x and y", "first"),
        ({"a": "first", "b": "second"}, "first to second", ""),
    ],
)
def test_a_job_is_named_by_whom_it_works_on(wildcards, subject, method):
    found = job(3, "stops", wildcards, Differs())
    assert (found.subject, found.method) == (subject, method)


def test_what_is_told_is_heard_and_no_other_line_is():
    event = Event("planned", job=Job(1, "wear", "t1", "first", ("new", "ümlaut\n")))
    assert heard(line(event)) == event and "\n" not in line(event)
    long = Event("planned", job=Job(1, "wear", "t1", "first", tuple(f"{n}" * 900 for n in range(9))))
    assert len(line(long)) < 4000 and heard(line(long)) is not None
    for text in ("stopsheet: t1: no", line(event)[:40], "\x1estopsheet [1]", '\x1estopsheet {"kind": "done"}'):
        assert heard(text) is None
