"""What runs after what change, and that one bad test leaves the others alone."""

from __future__ import annotations

import gzip
import json
import os
import shutil
from contextlib import contextmanager

import pytest

from tests.conftest import REPO
from tests.hostile import chain
from tests.workflow.makers import planned_rules, small_workspace, snakemake, snapshot

pytestmark = pytest.mark.workflow
SOUND, BROKEN, UNREADABLE = "m6-2406-a", "broken-recording", "unreadable-card"
OF_TESTS = {"findings": 3, "test_page": 3}
PAGES = {"rig_page": 1, "compound_charts": 1}
OF_DRIFT = {"precision": 1, "charts": 1, **PAGES, **OF_TESTS}
OF_COMPOUND = {"compound": 1, "sheet": 1, "index": 1, "all": 1}
FROM_STOPS = {
    "stops": 3,
    "friction": 3,
    "wear": 3,
    "repeatability": 1,
    "drift": 3,
    "rigs": 1,
    **OF_DRIFT,
    **OF_COMPOUND,
}


@pytest.fixture(scope="module")
def workspace(tmp_path_factory):
    """A sound test, one with broken recordings and one whose card nobody can read; run once."""
    config = small_workspace(tmp_path_factory.mktemp("flow") / "a place", [SOUND, BROKEN])
    archive = config.parent / "archive"
    recordings = sorted((archive / BROKEN / "recordings").iterdir())
    recordings[3].write_bytes(recordings[3].read_bytes()[:200])
    recordings[5].write_bytes(gzip.compress(b"\x00\x01\x02 not a table"))
    (archive / UNREADABLE).mkdir()
    (archive / UNREADABLE / "test.yaml").write_text("schema: 1\ncompound: [")
    given = snapshot(archive)
    done = snakemake(config)
    assert done.returncode == 0, done.stderr
    assert snapshot(archive) == given
    return config


def test_a_second_run_has_nothing_to_do(workspace):
    assert planned_rules(workspace) == {}


def test_only_what_a_setting_touches_runs_again(workspace):
    method = workspace.parent / "methods" / "plain.yaml"
    tests = workspace.parent / "results" / "plain" / "tests"
    before = snapshot(tests), times(tests)
    method.write_text("# how sure the projections are\nduty: {confidence: 90 %}\n")
    assert planned_rules(workspace) == {**OF_COMPOUND, "total": sum(OF_COMPOUND.values())}
    assert snakemake(workspace).returncode == 0
    assert planned_rules(workspace) == {}
    assert (snapshot(tests), times(tests)) == before


def times(folder):
    """When each file below a folder was written (ns)."""
    return {path: path.stat().st_mtime_ns for path in folder.rglob("*") if path.is_file()}


def test_a_changed_setting_is_seen_from_another_working_directory(workspace, tmp_path):
    method = workspace.parent / "methods" / "plain.yaml"
    kept = method.read_text()
    method.write_text("friction: {coverage: 95 %}\n" + kept)
    planned = planned_rules(workspace, tmp_path)
    method.write_text(kept)
    assert planned["friction"] == 3
    assert "channels" not in planned and "stops" not in planned
    assert planned_rules(workspace) == {}


def test_a_comment_in_a_method_runs_nothing(workspace):
    method = workspace.parent / "methods" / "plain.yaml"
    method.write_text("# told differently\nduty:\n  confidence: 0.9\n")
    assert planned_rules(workspace) == {}


@pytest.mark.parametrize(
    ("setting", "rules"),
    [
        ("conditioning: {filter_order: 3}", FROM_STOPS),
        ("segmentation: {on_pressure: 1.1 bar}", FROM_STOPS),
        ("reduction: {build_up: 90 %}", FROM_STOPS),
        ("friction: {coverage: 95 %}", {"friction": 3, "repeatability": 1, "drift": 3, **OF_DRIFT, **OF_COMPOUND}),
        ("wear: {confidence: 90 %}", {"wear": 3, **OF_DRIFT, **OF_COMPOUND}),
        ("batches: {significance: 10 %}", OF_COMPOUND),
        ("drift: {false_alarm_rate: 2 %}", {"repeatability": 1, "drift": 3, **OF_DRIFT, **OF_COMPOUND}),
    ],
)
def test_each_section_runs_the_stages_that_read_it_and_what_follows_them(workspace, setting, rules):
    method = workspace.parent / "methods" / "plain.yaml"
    kept = method.read_text()
    method.write_text(f"{kept}{setting}\n")
    planned = planned_rules(workspace)
    method.write_text(kept)
    assert planned.pop("total") == sum(rules.values())
    assert planned == rules


def test_a_version_with_another_model_runs_the_stage_that_writes_it_and_what_reads_it(workspace, tmp_path):
    """A copy of the software in which friction.json has a further key, over results that this one wrote."""
    shutil.copytree(REPO / "pipeline", tmp_path / "pipeline", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(REPO / "Snakefile", tmp_path)
    model = tmp_path / "pipeline" / "results" / "friction.py"
    field = '    stamp: Stamp | None = given("what the file rests on", default=None)\n'
    assert model.read_text().count(field) == 1
    model.write_text(
        model.read_text().replace(field, f'    further: float | None = given("a figure", default=None)\n{field}')
    )
    planned = planned_rules(workspace, snakefile=tmp_path / "Snakefile")
    assert planned.pop("total") == sum(planned.values())
    assert planned == {"friction": 3, **OF_TESTS, **OF_COMPOUND}
    assert planned_rules(workspace) == {}


@contextmanager
def edited(path):
    """The file with other bytes of equal size and time while the block lasts."""
    info, content = path.stat(), path.read_bytes()

    def put(new):
        path.write_bytes(new)
        os.utime(path, ns=(info.st_atime_ns, info.st_mtime_ns))

    put(content[:-1] + b"?")
    yield
    put(content)


def test_an_edited_recording_runs_its_own_test_and_what_shows_it(workspace):
    with edited(next(iter(sorted((workspace.parent / "archive" / SOUND / "recordings").iterdir())))):
        planned = planned_rules(workspace)
    assert planned["channels"] == planned["stops"] == planned["wear"] == planned["friction"] == 1
    assert planned_rules(workspace) == {}


def test_a_new_file_time_alone_runs_nothing(workspace):
    for path in (workspace.parent / "archive").rglob("*"):
        os.utime(path)
    assert planned_rules(workspace) == {}


def test_edited_wear_readings_run_wear_and_what_shows_it(workspace):
    with edited(workspace.parent / "archive" / SOUND / "wear.csv"):
        planned = planned_rules(workspace)
    assert planned == {
        "wear": 1,
        "precision": 1,
        "charts": 1,
        **PAGES,
        **OF_TESTS,  # a rig that wanders by the wear of one test says so in others
        "compound": 1,
        "sheet": 1,
        "index": 1,
        "all": 1,
        "total": 15,
    }


def test_what_a_sheet_says_of_itself_runs_the_sheet_alone(workspace):
    kept = workspace.read_text()
    place = workspace.parent / "sheets" / "m.yaml"
    place.parent.mkdir()
    place.write_text("compound: Marram 6\nissue: 1\n")
    workspace.write_text(f"{kept}sheets: sheets/*.yaml\n")
    planned = planned_rules(workspace)
    workspace.write_text(kept)
    assert {name: count for name, count in planned.items() if name not in ("all", "total")} == {"sheet": 1}
    assert planned_rules(workspace) == {}


def test_bad_tests_are_results_and_leave_the_others_as_they_are(workspace, tmp_path):
    root = workspace.parent / "results" / "plain"
    found = json.loads((root / "tests" / BROKEN / "findings.json").read_text())["findings"]
    named = {item["file"]: item["message"] for item in found if item["file"]}
    recordings = sorted((workspace.parent / "archive" / BROKEN / "recordings").iterdir())
    for path in (recordings[3], recordings[5]):
        assert f"recordings/{path.name}" in named
    archive = {t["test"]: t for t in json.loads((root / "archive.json").read_text())["tests"]}
    assert archive[UNREADABLE]["status"] == "unusable"
    assert "test.yaml" in archive[UNREADABLE]["why"]
    assert archive[BROKEN]["status"] == archive[SOUND]["status"] == "ok"
    page = (root / "tests" / UNREADABLE / "test.html").read_text()
    assert "test.yaml" in page
    for name in ("friction.json", "wear.json", "drift.json"):
        assert json.loads((root / "tests" / UNREADABLE / name).read_text())["unusable"]
    alone = tmp_path / "archive" / SOUND
    shutil.copytree(workspace.parent / "archive" / SOUND, alone)
    chain.to_stops(alone, tmp_path / "results")
    stops = f"tests/{SOUND}/stops.parquet"
    assert (root / stops).read_bytes() == (tmp_path / "results" / chain.METHOD / stops).read_bytes()


def test_a_test_taken_out_runs_the_stage_that_marks_its_results(workspace, tmp_path):
    """And that renews the list of tests; what it writes of them stands in tests/results/test_left_over.py."""
    folder = workspace.parent / "archive" / UNREADABLE
    shutil.move(folder, tmp_path / "out")
    try:
        planned = planned_rules(workspace)
    finally:
        shutil.move(tmp_path / "out", folder)
    assert planned["index"] == 1 and "stops" not in planned
    assert planned_rules(workspace) == {}


def test_nothing_of_the_samples_leaks_into_another_workspace(workspace):
    files = [p for p in (workspace.parent / "results").rglob("*") if p.is_file() and ".snakemake" not in p.parts]
    assert not [p for p in files if "marram-4" in str(p) or "revised" in str(p)]
    assert not (workspace.parent / "work" / "results").exists()
    for name in ("duty.json", "batches.json"):
        text = (workspace.parent / "results" / "plain" / "compounds" / "marram-6" / name).read_text()
        assert "valley" not in text and "ridge" not in text
