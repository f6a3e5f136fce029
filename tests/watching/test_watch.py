"""`stopsheet watch` on a rig that writes its recordings one by one; only the rig turns the clock."""

from __future__ import annotations

import json
import re
import shutil

import pytest

from pipeline.cli.watch import ALARMED, Given, Loop, watch
from pipeline.errors import InputError
from pipeline.recordings import kept, stage
from pipeline.watching import running
from tests.hostile.base import write_base
from tests.hostile.chain import to_stops
from tests.watching.makers import Rig, emptied, given, nothing, together

TEST = "running"


@pytest.fixture
def place(tmp_path):
    """(config, the test's folder without its recordings, these in the order run)."""
    test = write_base(tmp_path / "archive", "delimited", TEST)
    recordings = emptied(test, tmp_path / "rig")
    (tmp_path / "plain.yaml").write_text("")
    config = tmp_path / "config.yaml"
    config.write_text("archive: archive\nresults: results\nmethods: [plain.yaml]\n")
    return config, test, recordings


def told(capsys):
    return capsys.readouterr().out.splitlines()


def test_recordings_are_taken_in_one_by_one_and_all_is_run_at_the_end(place, capsys):
    config, test, recordings = place
    rig = Rig([step for one in recordings for step in (given(one, test), nothing)])
    assert watch(Given(config, only=TEST, cores=1), rig.hands) == 0
    lines = told(capsys)
    for stop in range(1, 12):
        assert any(f": {stop} of 11 scheduled stops run" in line for line in lines)
    assert sum("look 1 of 1, after check 2" in line for line in lines) == 1
    assert not any("STOP AND LOOK" in line for line in lines)
    assert rig.runs == [None]  # at the look the program had been run: the whole run does both


def test_a_recording_is_read_once_however_many_follow(place, monkeypatch):
    config, test, recordings = place
    read, usual = [], stage.reader

    def counting(form):
        return lambda at, *more: (read.append(at.path.name), usual(form)(at, *more))[1]

    monkeypatch.setattr(stage, "reader", counting)
    monkeypatch.setattr(kept, "UNSETTLED_S", -60.0)  # the files are new
    rig = Rig([step for one in recordings[:4] for step in (given(one, test), nothing)])
    watch(Given(config, only=TEST, idle="10 min"), rig.hands)
    assert read == [one.name for one in recordings[:4]]


def test_a_half_written_recording_is_waited_for_and_no_fault(place, capsys):
    config, test, recordings = place
    steps = [together(recordings[:4], test), given(recordings[4], test, share=0.3), nothing, nothing]
    steps += [given(recordings[4], test), nothing, together(recordings[5:], test), nothing, nothing]
    assert watch(Given(config, only=TEST), Rig(steps).hands) == 0
    lines = told(capsys)
    assert sum("stop_005.csv reads as cut off and is waited for" in line for line in lines) == 1
    assert not any("STOP AND LOOK" in line or "suspect" in line or "rejected" in line for line in lines)
    assert any("11 of 11" in line for line in lines)


def test_one_that_stays_cut_off_is_taken_in_when_the_next_one_comes(place, capsys):
    config, test, recordings = place
    steps = [together(recordings[:4], test), given(recordings[4], test, share=0.3), nothing]
    watch(Given(config, only=TEST), Rig([*steps, together(recordings[5:], test), nothing, nothing]).hands)
    assert any("rejected" in line and "11 of 11" in line for line in told(capsys))


def test_a_recording_that_is_exported_again_takes_nothing_back(place, capsys):
    config, test, recordings = place
    steps = [together(recordings[:6], test), nothing, nothing, given(recordings[2], test), nothing]
    assert watch(Given(config, only=TEST), Rig([*steps, together(recordings, test), nothing, nothing]).hands) == 0
    done = [int(line.split(" of 11")[0].rsplit(" ", 1)[1]) for line in told(capsys) if " of 11 " in line]
    assert done == sorted(done) and done[-1] == 11


def broken(recordings, test, first=4):
    """A recorder that ends each recording within the braking, from one on."""
    return [together(recordings[:first], test), *[given(one, test, share=0.4) for one in recordings[first:]]]


def broken_at_once(recordings, test):
    """The same, its recordings copied from the rig at once."""
    first, *later = broken(recordings, test)
    return [first, lambda: [write() for write in later]]


def test_a_fault_at_three_stops_in_a_row_is_an_alarm_and_the_watch_goes_on(place, capsys):
    config, test, recordings = place
    rig = Rig([*broken(recordings, test), *[nothing] * 12])
    assert watch(Given(config, only=TEST), rig.hands) == ALARMED
    lines = told(capsys)
    (alarm,) = [line for line in lines if "STOP AND LOOK" in line and "after stop 7" in line]
    assert "stops 5 to 7" in alarm and "to do: " in alarm
    assert any("11 of 11" in line for line in lines)
    assert rig.runs == [TEST, None]  # results are brought up to date at the alarm, and as a whole at the end


def test_the_watch_ends_at_the_first_alarm_where_that_is_wanted(place, capsys):
    config, test, recordings = place
    rig = Rig([*broken(recordings, test), *[nothing] * 12])
    assert watch(Given(config, only=TEST, end_at_alarm=True), rig.hands) == ALARMED
    assert rig.runs == []  # whoever waits for the end stops a rig
    lines = told(capsys)
    assert "STOP AND LOOK" in lines[-2] and "stopsheet run" in lines[-1]


def test_a_program_cut_short_ends_when_nothing_comes_any_more(place, capsys):
    config, test, recordings = place
    rig = Rig([together(recordings[:3], test)])
    assert watch(Given(config, only=TEST, idle="10 min"), rig.hands) == 0
    assert "nothing came for 10 min" in told(capsys)
    assert rig.runs == [None] and rig.at_s >= 600


def test_without_a_name_every_test_that_gets_recordings_is_watched_and_no_other(place, capsys):
    config, test, recordings = place
    write_base(config.parent / "archive", "delimited", "done before")
    (config.parent / "archive" / "done before").rename(config.parent / "archive" / "done-before")
    rig = Rig([together(recordings[:3], test), nothing, together(recordings, test), nothing])
    assert watch(Given(config), rig.hands) == 0
    assert all(line.startswith(TEST) for line in told(capsys))


def test_programs_get_one_document_a_line(place, capsys):
    config, test, recordings = place
    rig = Rig([*broken(recordings, test), *[nothing] * 12])
    assert watch(Given(config, only=TEST, end_at_alarm=True, as_json=True), rig.hands) == ALARMED
    events = [json.loads(line) for line in told(capsys)]
    assert {"taken", "alarm"} <= {event["event"] for event in events}
    (alarm,) = [event for event in events if event["event"] == "alarm"]
    assert alarm["kind"] == "fault" and alarm["since"] == 5 and alarm["to_do"]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"every": "ten"}, "--every ten"),
        ({"settle": "5"}, "--settle 5"),
        ({"idle": "0 s"}, "--idle 0 s"),
        ({"only": "none such"}, "--only none such: no test of that name"),
        ({"method": "other"}, "--method other: no such method"),
    ],
)
def test_a_wrong_call_is_refused_in_a_line(place, changes, words):
    config, test, recordings = place
    given(recordings[0], test)()
    with pytest.raises(InputError, match="^" + words):
        watch(Given(config, **changes), Rig([]).hands)


def test_a_card_that_cannot_be_read_is_waited_for(place, capsys):
    config, test, recordings = place
    card = (test / "test.yaml").read_text()
    (test / "test.yaml").write_text("schema: 1\ncompound: [")
    steps = [lambda: (test / "test.yaml").write_text(card), together(recordings, test), nothing, nothing]
    assert watch(Given(config, only=TEST), Rig(steps).hands) == 0
    lines = told(capsys)
    assert sum("not yet" in line and "test.yaml" in line for line in lines) == 1


@pytest.mark.parametrize(("only", "said"), [(TEST, 0), (None, 1)])
def test_a_config_that_is_edited_meanwhile_ends_no_watch(place, capsys, only, said):
    config, test, recordings = place
    whole = config.read_text()
    steps = [
        together(recordings[:3], test),
        lambda: (config.write_text("archive: ["), write_base(test.parent, "delimited", "another")),
        given(recordings[3], test),
        lambda: (config.write_text(whole), shutil.rmtree(test.parent / "another")),
        together(recordings, test),
    ]
    rig = Rig([*steps, nothing, nothing])
    assert watch(Given(config, only=only), rig.hands) == 0
    lines = told(capsys)
    assert sum("not yet: " in line and "config.yaml" in line for line in lines) == said
    assert any("11 of 11" in line for line in lines)


def test_a_fault_of_ours_in_one_test_is_told_and_the_other_is_watched_on(place, capsys, monkeypatch):
    config, test, recordings = place
    other = write_base(test.parent, "delimited", "other")
    theirs = emptied(other, config.parent / "other rig")
    (config.parent / "results").mkdir()
    reduce = running.reduce

    def failing(read, *more, **named):
        if read.name == "other":
            raise ZeroDivisionError
        return reduce(read, *more, **named)

    monkeypatch.setattr(running, "reduce", failing)
    steps = [together(theirs[:3], other), nothing, together(recordings, test), nothing, nothing, nothing]
    assert watch(Given(config), Rig(steps).hands) == 0
    lines = told(capsys)
    (said,) = [line for line in lines if "fault of ours" in line]
    assert said.startswith(
        "other: not watched: fault of ours: ZeroDivisionError; watch.fault.txt among the results has the details"
    )
    assert "ZeroDivisionError" in (config.parent / "results" / "watch.fault.txt").read_text()
    assert any(line.startswith(f"{TEST}: ") and "11 of 11" in line for line in lines)


def test_a_card_that_is_corrected_after_the_last_recording_is_read_again(place, capsys):
    config, test, recordings = place
    card = (test / "test.yaml").read_text()
    (test / "test.yaml").write_text(card.replace("column: Mb", "column: Mx"))
    steps = [together(recordings, test), nothing, nothing, lambda: (test / "test.yaml").write_text(card), nothing]
    rig = Rig([*steps, nothing, nothing])
    assert watch(Given(config, only=TEST, idle="1 h"), rig.hands) == 0
    assert any("11 of 11 scheduled stops run" in line for line in told(capsys)) and rig.at_s < 600


def test_a_pattern_that_matches_nothing_is_said(place, capsys):
    config, test, recordings = place
    card = (test / "test.yaml").read_text()
    (test / "test.yaml").write_text(card.replace("recordings/*.csv", "recordings/*.dat"))
    watch(Given(config, only=TEST, idle="1 min"), Rig([together(recordings, test)]).hands)
    (line,) = [line for line in told(capsys) if "not yet: " in line]
    assert "'recordings/*.dat' matches no file" in line


def refusing(error):
    def run(**_):
        raise error

    return run


@pytest.mark.parametrize(
    "how", [lambda **_: 1, refusing(InputError("config.yaml: no")), refusing(OSError(28, "No space left"))]
)
def test_what_was_said_stays_the_exit_code_where_the_run_at_the_end_fails(place, capsys, how):
    config, test, recordings = place
    steps = [*broken_at_once(recordings, test), *[nothing] * 12]
    assert watch(Given(config, only=TEST), Rig(steps, how).hands) == ALARMED


def test_an_interrupt_at_the_end_stays_one(place, capsys):
    config, test, recordings = place
    steps = [*broken_at_once(recordings, test), *[nothing] * 12]
    assert watch(Given(config, only=TEST), Rig(steps, lambda only=None, **_: 0 if only else 130).hands) == 130


def test_an_archive_is_watched_by_the_default_method_as_it_is_run(place, capsys):
    config, test, recordings = place
    config.unlink()
    assert watch(Given(test.parent, only=TEST), Rig([together(recordings, test), nothing, nothing]).hands) == 0
    lines = told(capsys)
    assert lines[0].startswith("config: ") and any("11 of 11" in line for line in lines)
    with pytest.raises(InputError, match=r"none\.yaml: no such config file; correct the path"):
        watch(Given(config.parent / "none.yaml"), Rig([]).hands)


def test_calibrations_that_cannot_be_read_are_told_once(place, capsys):
    config, test, recordings = place
    rig = re.search(r"^rig: (.*)$", (test / "test.yaml").read_text(), re.M)[1]
    (config.parent / "rig.yaml").write_text(f"rig: {rig}\nevents: 3\n")
    config.write_text(config.read_text() + "rigs: rig.yaml\n")
    watch(
        Given(config, only=TEST),
        Rig([together(recordings[:4], test), nothing, together(recordings, test), nothing]).hands,
    )
    (line,) = [line for line in told(capsys) if "as the rig's file is left out" in line]
    assert line.startswith(f"{TEST}: note: ") and "rig.yaml" in line


def test_the_scatter_of_earlier_tests_counts_though_the_card_was_half_written_at_first(place):
    config, test, _ = place
    earlier = write_base(test.parent, "delimited", "earlier")
    to_stops(earlier, config.parent / "results")
    card = (test / "test.yaml").read_text()
    (test / "test.yaml").write_text(card[:20])
    loop = Loop(Given(config, only=TEST), Rig([]).hands, 5.0)
    loop.round()
    assert list(loop.tests[TEST].others()) == []
    (test / "test.yaml").write_text(card)
    assert list(loop.tests[TEST].others()) == ["earlier"]
    config.write_text("archive: [")
    assert list(loop.tests[TEST].others()) == []


def test_a_copy_of_an_earlier_test_counts_once_for_the_scatter(place):
    config, test, _ = place
    for name in ("earlier", "copied"):
        to_stops(write_base(test.parent, "delimited", name), config.parent / "results")
    loop = Loop(Given(config, only=TEST), Rig([]).hands, 5.0)
    loop.round()
    assert len(loop.tests[TEST].others()) == 1


def test_one_file_that_grows_without_a_rest_is_told_and_not_passed_over_in_silence(place, capsys):
    config, test, recordings = place
    growing = [given(recordings[0], test, share=n / 100) for n in range(1, 100)]
    watch(Given(config, only=TEST, every="4 s", idle="8 min"), Rig(growing).hands)
    lines = told(capsys)
    assert "recordings/stop_001.csv is written to without a rest" in lines[0]
    assert sum("without a rest" in line for line in lines) == 1
    watch(Given(config, only=TEST, every="4 s", idle="3 min"), Rig(growing[:50]).hands)
    assert not any("without a rest" in line for line in told(capsys))
