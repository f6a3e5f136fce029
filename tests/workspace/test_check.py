"""`stopsheet check`: every problem named with its file, and the exit code."""

import json
import re

import polars as pl
import pytest

from pipeline.archive.targets import Target
from pipeline.cli.check import check
from pipeline.workspace.check import checked_place
from tests.recordings.makers import card, samples, text, text_test, write_card, written


def problems(place):
    return [(p.where, p.level, p.message) for p in checked_place(place).problems]


def of_wear(archive):
    return [problem for problem in problems(archive) if problem[0].endswith("wear.csv")]


def test_a_sound_archive_has_no_problems(tmp_path, capsys):
    text_test(tmp_path / "archive" / "one")
    text_test(tmp_path / "archive" / "two", suffix=".csv.gz", units=True)
    assert check(tmp_path / "archive") == 0
    assert capsys.readouterr().out.splitlines() == [
        "one: 3 recordings, 3 brakings found, 3 scheduled, 5 channels, no complaint",
        "two: 3 recordings, 3 brakings found, 3 scheduled, 5 channels, no complaint",
        "2 tests, 6 recordings: 0 unusable, 0 other problems",
    ]


def test_each_problem_is_one_line_and_an_unusable_test_ends_with_3(tmp_path, capsys):
    archive = tmp_path / "archive"
    folder = text_test(archive / "good")
    written(folder, "0009.csv", b"")
    written(folder, "0010.csv", text(samples(4), units=True).replace("bar", "psi").encode())
    (folder / "wear.csv").write_text("after_stop\n")
    write_card(archive / "bad-card", {**card(), "inertia": "22"})
    write_card(archive / "no-recordings", card())
    (archive / "a b").mkdir()
    assert check(archive) == 3
    lines = capsys.readouterr().out.splitlines()
    assert lines[-1] == "3 tests, 5 recordings: 2 unusable, 5 other problems"
    assert any(line.startswith("a b: left out: ") for line in lines)
    assert any(line.startswith("bad-card: unusable: test.yaml: line 24: inertia: a unit is missing") for line in lines)
    assert any(": recordings.files: 'recordings/*' matches no file" in line for line in lines)
    assert any(line.startswith("good/recordings/0009.csv: left out: line 1: is empty") for line in lines)
    assert any("pressure: the recordings say 'psi', test.yaml says 'bar'" in line for line in lines)
    assert any("wear.csv is there, but test.yaml does not name it" in line for line in lines)
    assert (
        len(lines) == 11
        and lines[-2] == "no-recordings: 0 recordings, 3 stops scheduled, 5 channels, worst complaint: unusable"
    )


def test_a_program_gets_the_parts_of_each_complaint(tmp_path, capsys):
    folder = text_test(tmp_path / "archive" / "t", count=2)
    assert check(folder.parent, as_json=True) == 0
    (test,) = json.loads(capsys.readouterr().out)["tests"]
    assert (test["recordings"], test["brakings"], test["scheduled"], test["counted"]) == (2, 2, 3, 2)
    assert sorted(test["channels"]) == ["disc_temperature", "pressure", "speed", "time", "torque"]
    assert test["worst"] == test["problems"][0]
    assert {"file", "line", "key", "found", "accepted", "mend", "level", "where"} <= set(test["worst"])
    assert (test["worst"]["file"], test["worst"]["key"], test["worst"]["level"]) == ("test.yaml", "blocks", "odd")
    assert check(tmp_path / "nothing", as_json=True) == 2
    assert json.loads(capsys.readouterr().out)["complaints"][0]["mend"]


def test_a_terminal_gets_a_table_by_test(tmp_path, capsys, monkeypatch):
    text_test(tmp_path / "archive" / "good")
    write_card(tmp_path / "archive" / "bad", {**card(), "inertia": "22"})
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    monkeypatch.setenv("COLUMNS", "200")
    assert check(tmp_path / "archive") == 3
    rows = [re.sub(r"\x1b\[\d*m", "", line).split() for line in capsys.readouterr().out.splitlines()]
    assert ["test", "recordings", "brakings", "scheduled", "channels", "worst", "complaint"] in rows
    assert ["good", "3", "3", "3", "5", "none"] in rows
    assert any(row[:4] == ["bad", "0", "unusable:", "a"] for row in rows)


def test_of_a_large_archive_a_few_recordings_are_read(tmp_path, monkeypatch):
    monkeypatch.setattr("pipeline.workspace.check.HEADS", 8)
    for name in ("one", "two"):
        text_test(tmp_path / "archive" / name, count=6)
    looks = checked_place(tmp_path / "archive").looks
    assert [(look.recordings, look.heads, look.counted, look.found) for look in looks] == [(6, 3, 3, 3)] * 2
    monkeypatch.setattr("pipeline.workspace.check.MANY", 2)
    looks = checked_place(tmp_path / "archive").looks
    assert [(look.recordings, look.heads, look.counted, look.found) for look in looks] == [(6, 1, 1, 1)] * 2


def test_a_series_of_brakings_is_counted_and_told(tmp_path):
    """Three stops in a file are no `holds: stop`; as a series they are what the blocks say."""
    rows = [text(samples(number)).splitlines() for number in (1, 2, 3)]
    body = "\n".join([*rows[0], *rows[1][1:], *rows[2][1:]]) + "\n"
    for holds in ("stop", "series"):
        folder = write_card(tmp_path / holds / "t", card(holds=holds))
        written(folder, "1.csv", body.encode())
    (found,) = checked_place(tmp_path / "stop").problems
    assert found.complaint.key == "recordings.holds" and found.complaint.mend == "write holds: series"
    (look,) = checked_place(tmp_path / "series").looks
    assert (look.found, look.scheduled, look.problems) == (3, 3, ())


def test_an_unusual_date_is_not_judged_as_a_brake(tmp_path):
    text_test(tmp_path / "archive" / "t", count=3)
    write_card(tmp_path / "archive" / "t", {**card(), "date": "2999-01-01"})
    message = next(words for _, _, words in problems(tmp_path / "archive") if "lies in the future" in words)
    assert "accepted: 1960 to today" in message and "drawing" not in message


def test_a_window_the_wrong_way_round_is_told_in_degrees_celsius():
    with pytest.raises(ValueError, match="300 degC is not below 100 degC"):
        Target(compound="M", temperature_window=["572 degF", "100 degC"])


def test_wear_readings_are_looked_at(tmp_path):
    archive = tmp_path / "archive"
    folder = write_card(archive / "t", {**card(), "wear": "wear.csv"})
    written(folder, "1.csv", text(samples(1)).encode())
    (found,) = of_wear(archive)
    assert (
        found[:2] == ("t/wear.csv", "left_out")
        and found[2].startswith("is not there")
        and "wear is not given" in found[2]
    )
    (folder / "wear.csv").write_text("after_stop,component,quantity,point,value,unit\n0,disk,thickness,1,24.0,mm\n")
    (found,) = of_wear(archive)
    assert "line 2: unknown component 'disk'" in found[2]
    (folder / "wear.csv").write_text("after_stop,component,quantity,point,value,unit\n400,disc,thickness,1,24.0,mm\n")
    (found,) = of_wear(archive)
    assert "line 2: a reading after stop 400" in found[2]


def test_a_recording_with_the_wrong_columns_is_named(tmp_path):
    archive = tmp_path / "archive"
    folder = write_card(archive / "t", card())
    for number in (1, 2, 3):
        written(folder, f"{number}.csv", text(samples(number)).replace("Mb", "Md", 1).encode())
    ((where, level, message),) = problems(archive)
    assert (where, level) == ("t", "unusable")
    assert "nearest: 'Md'" in message


@pytest.mark.parametrize("content", ["archive: nowhere\nresults: r\nmethods: [m.yaml]\n", "archiv: x\n", ""])
def test_a_wrong_config_ends_with_2(tmp_path, content, capsys):
    (tmp_path / "config.yaml").write_text(content)
    assert check(tmp_path / "config.yaml") == 2
    assert capsys.readouterr().out.startswith("stopsheet: config.yaml")


def test_a_wrong_place_ends_with_2(tmp_path):
    assert check(tmp_path / "nothing") == 2
    assert check(tmp_path) == 2


def test_a_workspace_names_what_is_left_out(tmp_path):
    text_test(tmp_path / "archive" / "t")
    (tmp_path / "m.yaml").write_text("")
    (tmp_path / "targets").mkdir()
    (tmp_path / "targets" / "x.yaml").write_text("compound: Marram 4\nmoo: 1\n")
    (tmp_path / "targets" / "y.yaml").write_text("compound: Marram 9\nmu: [0.3, 0.5]\n")
    (tmp_path / "config.yaml").write_text("archive: archive\nresults: r\nmethods: [m.yaml]\ntargets: targets/*.yaml\n")
    found = problems(tmp_path / "config.yaml")
    assert [(where, level) for where, level, _ in found] == [("x.yaml", "left_out"), ("y.yaml", "odd")]


def test_a_rig_that_no_test_names_is_told(tmp_path):
    """One letter too few, and what its calibrations found would be taken off no test in silence."""
    text_test(tmp_path / "archive" / "t")
    (tmp_path / "m.yaml").write_text("")
    (tmp_path / "rigs").mkdir()
    (tmp_path / "rigs" / "nrth.yaml").write_text("rig: nrth\nevents: []\n")
    (tmp_path / "config.yaml").write_text("archive: archive\nresults: r\nmethods: [m.yaml]\nrigs: rigs/*.yaml\n")
    ((where, level, message),) = problems(tmp_path / "config.yaml")
    assert (where, level) == ("nrth.yaml", "odd")
    said = f"line 1: rig: rig 'nrth' is named by no readable test.yaml; these are: {card()['rig']!r}"
    assert message.startswith(said)


def test_a_pattern_that_gives_no_file_is_told(tmp_path):
    text_test(tmp_path / "archive" / "t")
    (tmp_path / "m.yaml").write_text("")
    (tmp_path / "config.yaml").write_text("archive: archive\nresults: r\nmethods: [m.yaml]\ntargets: target/*.yaml\n")
    ((where, level, message),) = problems(tmp_path / "config.yaml")
    assert (where, level) == ("config.yaml", "odd")
    assert message.startswith("line 4: targets: 'target/*.yaml'")


def test_a_test_under_a_name_that_is_no_id_is_unusable(tmp_path, capsys):
    text_test(tmp_path / "archive" / "a b")
    assert check(tmp_path / "archive") == 3
    assert "a b: unusable: the folder's name is not allowed" in capsys.readouterr().out


def test_one_tests_folder_is_checked_alone(tmp_path, capsys):
    folder = text_test(tmp_path / "archive" / "t")
    (text_test(tmp_path / "archive" / "u") / "test.yaml").write_text("nonsense")
    assert check(folder) == 0
    assert "1 test, 3 recordings" in capsys.readouterr().out
    assert check(tmp_path / "archive") == 3


def test_a_test_whose_card_is_a_folder_is_a_test_and_no_archive(tmp_path, capsys):
    folder = text_test(tmp_path / "archive" / "t")
    (folder / "test.yaml").unlink()
    (folder / "test.yaml").mkdir()
    assert check(folder) == 3
    (line, *_) = capsys.readouterr().out.splitlines()
    assert line.startswith("t: unusable: ") and "test.yaml" in line


def test_facts_and_comparisons_that_cannot_be_used_are_told(tmp_path):
    """A row of the table of facts that is short, and a compound that no card names."""
    text_test(tmp_path / "archive" / "t")
    (tmp_path / "m.yaml").write_text("")
    (tmp_path / "batches.csv").write_text("compound,batch,density (g/cm3)\nx,1\n")
    config = "archive: archive\nresults: r\nmethods: [m.yaml]\nfacts: batches.csv\ncompare_compounds: [[A, B]]\n"
    (tmp_path / "config.yaml").write_text(config)
    said = [message for _, _, message in problems(tmp_path / "config.yaml")]
    assert said[0] == "line 2: 2 cells where the first line has 3; accepted: 3 cells; mend the line"
    assert [message.split(";")[0] for message in said[1:]] == [
        "line 5: compare_compounds: no test card names 'A'", "line 5: compare_compounds: no test card names 'B'",
    ]  # fmt: skip


@pytest.mark.parametrize("key", ["log", "cooling_log"])
def test_a_duty_whose_log_cannot_be_cut_is_told_before_the_run(tmp_path, key):
    from pipeline.workspace.run import load_run
    from tests.duty import logs, test_driven

    text_test(tmp_path / "archive" / "t")
    (tmp_path / "m.yaml").write_text("")
    (tmp_path / "config.yaml").write_text(
        "archive: archive\nresults: ../results\nmethods: [m.yaml]\nduties: duties/*.yaml\n"
    )
    duties = tmp_path / "duties"
    duties.mkdir()
    log = duties / "log.csv"
    drive = logs.samples(logs.drive(), 20).with_columns(T=pl.lit(80.0))
    drive.write_csv(log)
    of_events = {"file": "log.csv", "channels": logs.channels("speed", "pressure")}
    path = logs.duty_file(duties, of_events) if key == "log" else test_driven.duty_file(duties)
    config = tmp_path / "config.yaml"
    assert problems(config) == []
    sound = load_run(config).compound_files_digest("marram-4")
    drive.with_columns(v=90.0).write_csv(log)
    load_run.cache_clear()
    assert load_run(config).compound_files_digest("marram-4") != sound  # the log is an input: another one runs again
    (found,) = problems(config)
    assert found[:2] == (path.name, "left_out") and "no braking found" in found[2]
    log.unlink()
    (found,) = problems(config)
    assert found[:2] == (path.name, "left_out") and "is not there" in found[2]


def test_a_pattern_without_files_is_told_whatever_else_is_left_out(tmp_path):
    text_test(tmp_path / "archive" / "t")
    (tmp_path / "plain.yaml").write_text("")
    (tmp_path / "duties").mkdir()
    (tmp_path / "duties" / "broken.yaml").write_text("duty: [\n")
    config = tmp_path / "config.yaml"
    config.write_text(
        "archive: archive\nresults: results\nmethods: [plain.yaml]\ntargets: target/*.yaml\nduties: duties/*.yaml\n"
    )
    found = problems(config)
    assert [where for where, level, _ in found if level == "left_out"] == ["broken.yaml"]
    (odd,) = [words for _, level, words in found if level == "odd"]
    assert "line 4: targets: 'target/*.yaml' matches no file" in odd and "correct the path or remove the key" in odd
