"""Names, paths and dates that programs stumble over, through the whole run: each works, or is refused with its reason.

One small archive holds them all, so that a single name that stops the archive shows: planned by default, run under the heavy mark.
By default such a place and such a test go through a whole run in test_workflow.
"""

from __future__ import annotations

import json
import os
import time

import pytest
import yaml

from pipeline.workspace.check import checked_place
from tests.conftest import run_stopsheet
from tests.recordings.makers import card, samples, text, write_card, written
from tests.workflow.makers import PLACE, UNDERSCORES, planned_rules

pytestmark = pytest.mark.workflow
FEW = {UNDERSCORES: "--help" + 60 * "a"}
ALL = FEW | {"t": "{compound} <b>$(id)</b> ; '", "t.wear": "--help", "0" * 40: "ﬃ" * 200, "a" * 200: "../../up"}
TARGET = "compound: {}\nmu: [0.3, 0.5]\n"
DUTY = """\
duty: "-d {{x}}"
vehicle_mass: 1180 kg
brake_share: 0.29
rolling_radius: 330 mm
length: 4.6 km
ambient: 22 degC
events: [{from: 100 km/h, to: 60 km/h, brake_time: 2.6 s, then: 14 s, at: 80 km/h}]
"""


def hostile_workspace(base, compounds):
    """A workspace in a hostile place with a test of each compound and one whose name cannot be used; its config's path."""
    place = base / PLACE
    for test, compound in compounds.items():
        folder = write_card(place / "archive" / test, {**card(files="recordings/*.csv"), "compound": compound})
        for number in (1, 2, 3):
            written(folder, f"{number:04d}.csv", text(samples(number)).encode())
    os.mkfifo(place / "archive" / UNDERSCORES / "recordings" / "0004.csv")
    write_card(place / "archive" / "-rf", card())
    (place / "archive" / "locked out").mkdir()
    (place / "plain.yaml").write_text("")
    for name, content in {"targets/{a}.yaml": TARGET.format(FEW[UNDERSCORES]), "duties/-d.yaml": DUTY}.items():
        path = place / name
        path.parent.mkdir()
        path.write_text(content)
        os.utime(path, (time.time() + 86400 * 400,) * 2)  # a clock that ran ahead, another time zone
    config = place / "config.yaml"
    content = {"archive": "archive", "results": "results", "methods": ["plain.yaml"], "targets": "targets/*.yaml"}
    config.write_text(yaml.safe_dump({**content, "duties": "duties/*.yaml"}))
    return config


def test_every_name_that_can_be_used_is_planned_and_what_is_refused_is_told(tmp_path):
    config = hostile_workspace(tmp_path, ALL)
    planned = planned_rules(config)
    of_tests, compounds = {planned[rule] for rule in ("channels", "friction", "wear", "drift")}, len(set(ALL.values()))
    assert of_tests == {len(ALL)} and planned["compound"] == planned["sheet"] == compounds
    told = {(p.where, p.level) for p in checked_place(config).problems}
    pipe = f"{UNDERSCORES}/recordings/0004.csv"
    assert {("-rf", "unusable"), ("locked out", "left_out"), (pipe, "left_out")} <= told
    assert not {where for where, level in told if level == "unusable"} & set(ALL)


@pytest.fixture(scope="module", params=[pytest.param(which, marks=pytest.mark.heavy) for which in ("few", "all")])
def ran(request, tmp_path_factory):
    """Config, what the run printed, and the ids of its tests."""
    compounds = ALL if request.param == "all" else FEW
    config = hostile_workspace(tmp_path_factory.mktemp("hostile"), compounds)
    return config, run_stopsheet("run", config, "--cores", 2, check=False), list(compounds)


def test_every_name_that_can_be_used_goes_through_the_whole_run(ran):
    config, done, tests = ran
    assert done.returncode == 3, done.stdout + done.stderr  # for the one refused
    root = config.parent / "results" / "plain"
    archive = {row["test"]: row for row in json.loads((root / "archive.json").read_text())["tests"]}
    assert {test: row["status"] for test, row in archive.items() if test != "-rf"} == dict.fromkeys(tests, "ok")
    for test in tests:
        for name in ("findings.json", "friction.json", "wear.json", "drift.json", "test.html"):
            assert (root / "tests" / test / name).is_file(), (test, name)
    assert len(list((root / "compounds").glob("*/sheet.pdf"))) == len(tests)
    assert (root / "index.html").is_file()
    assert not list((config.parent / "results").rglob("*.fault.txt"))


def test_what_is_refused_is_told_with_its_reason_by_run_and_check_alike(ran):
    config, done, _ = ran
    root = config.parent / "results" / "plain"
    archive = {row["test"]: row for row in json.loads((root / "archive.json").read_text())["tests"]}
    assert archive["-rf"]["status"] == "unusable" and "option" in archive["-rf"]["why"]
    assert "plain: -rf: unusable: the folder's name must not start with '-'" in done.stdout
    assert "plain: locked out: skipped: the folder's name is not allowed" in done.stdout
    told = {(p.where, p.level) for p in checked_place(config).problems}
    assert {("-rf", "unusable"), ("locked out", "left_out"), (f"{UNDERSCORES}/recordings/0004.csv", "left_out")} <= told
    assert {row["test"] for row in archive.values() if row["status"] == "unusable"} == {
        w for w, s in told if s == "unusable"
    }


def test_a_pipe_among_the_recordings_is_a_finding(ran):
    config, _, _ = ran
    found = json.loads((config.parent / "results" / "plain" / "tests" / UNDERSCORES / "findings.json").read_text())[
        "findings"
    ]
    unreadable = [item for item in found if item["code"] == "recording_unreadable"]
    assert {item["file"] for item in unreadable} == {"recordings/0004.csv"}
    assert all("pipe" in item["message"] for item in unreadable)


def test_a_second_run_has_nothing_to_do_from_whatever_place(ran, tmp_path):
    config, _, _ = ran
    assert planned_rules(config, config.parent / "results") == {}
    assert planned_rules(config, tmp_path) == {}
