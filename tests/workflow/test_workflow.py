"""What runs after what change, that one bad test leaves the others alone, and that results agree with their files."""

from __future__ import annotations

import gzip
import hashlib
import json
import os
import re
import shutil
from contextlib import contextmanager
from pathlib import Path

import polars as pl
import pytest

from pipeline import cli
from pipeline.provenance.figures import printed
from pipeline.provenance.trace import traced
from pipeline.provenance.verify import KINDS, verified
from pipeline.results import read_table
from pipeline.results.model import read
from pipeline.results.sheet import Sheet
from pipeline.workspace.made import missing, undeclared
from pipeline.workspace.run import load_run
from tests.conftest import REPO, run_stopsheet
from tests.hostile import chain
from tests.studies import kills, small_runs
from tests.workflow.makers import PLACE, UNDERSCORES, planned_rules, small_workspace, snakemake, snapshot

pytestmark = pytest.mark.workflow
SOUND, BROKEN, UNREADABLE = "m6-2406-a", UNDERSCORES, "unreadable-card"
#: until a process that was ended has gone: one that was just being started looks for its parent once its interpreter is up
PATIENCE_S = 300.0
OF_TESTS = {"findings": 3, "test_page": 3}
PAGES = {"rig_page": 1, "compound_charts": 1}
OF_DRIFT = {"precision": 1, "charts": 1, "extracts": 1, **PAGES, **OF_TESTS}
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
    """A sound test, one with broken recordings and one whose card nobody can read, in a place that programs stumble over; run once."""
    config = small_workspace(tmp_path_factory.mktemp("flow") / PLACE, [SOUND, BROKEN])
    (config.parent / "methods" / "plain.yaml").write_text("# how sure the projections are\nduty: {confidence: 90 %}\n")
    archive = config.parent / "archive"
    recordings = sorted((archive / BROKEN / "recordings").iterdir())
    recordings[3].write_bytes(recordings[3].read_bytes()[:200])
    recordings[5].write_bytes(gzip.compress(b"\x00\x01\x02 not a table"))
    (archive / UNREADABLE).mkdir()
    (archive / UNREADABLE / "test.yaml").write_text("schema: 1\ncompound: [")
    given = snapshot(archive)
    done = run_stopsheet("run", config, "--cores", 2, check=False)
    assert done.returncode == 3, done.stderr  # for the card that nobody can read
    assert snapshot(archive) == given
    return config


def test_a_second_run_has_nothing_to_do(workspace):
    assert planned_rules(workspace) == {}


@pytest.mark.heavy
def test_only_what_a_setting_touches_runs_again(workspace):
    method = workspace.parent / "methods" / "plain.yaml"
    tests = workspace.parent / "results" / "plain" / "tests"
    kept, all_before, before = method.read_text(), small_runs.results(workspace), (snapshot(tests), times(tests))
    for text in (kept.replace("90 %", "80 %"), kept):
        method.write_text(text)
        assert planned_rules(workspace) == {**OF_COMPOUND, "total": sum(OF_COMPOUND.values())}
        assert snakemake(workspace).returncode == 0
        assert planned_rules(workspace) == {}
        assert (snapshot(tests), times(tests)) == before
    assert small_runs.results(workspace) == all_before


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
    kept = method.read_text()
    method.write_text("# told differently\nduty:\n  confidence: 0.9\n")
    planned = planned_rules(workspace)
    method.write_text(kept)
    assert planned == {}


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


@pytest.mark.heavy
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
        "extracts": 1,
        **PAGES,
        **OF_TESTS,  # a rig that wanders by the wear of one test says so in others
        "compound": 1,
        "sheet": 1,
        "index": 1,
        "all": 1,
        "total": 16,
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
    assert not (workspace.parent / "results" / "results").exists()
    for name in ("duty.json", "batches.json"):
        text = (workspace.parent / "results" / "plain" / "compounds" / "marram-6" / name).read_text()
        assert "valley" not in text and "ridge" not in text


@contextmanager
def changed(path, change):
    """The file, or what stands in its place, changed while the block lasts."""
    info, content = path.stat(), path.read_bytes()
    try:
        change(path)
        yield
    finally:
        path.write_bytes(content)
        os.utime(path, ns=(info.st_atime_ns, info.st_mtime_ns))


def with_value(path, key, value):
    """Another number under a key of a JSON file."""
    content = at = json.loads(path.read_text())
    *way, last = key.strip("/").split("/")
    for step in way:
        at = at[int(step)] if isinstance(at, list) else at[step]
    at[last] = value
    path.write_text(json.dumps(content))


def differences(workspace):
    return {(one.kind, one.place.split("/")[-1]) for one in verified(workspace.parent / "results").differences}


def test_results_agree_with_their_files_and_what_was_changed_is_named(workspace):
    results, archive = workspace.parent / "results", workspace.parent / "archive"
    fresh = verified(results)
    assert fresh.differences == []
    assert (
        min(fresh.compared[kind] for kind in KINDS) > 0
        and fresh.compared["numbers"] > 100
        and fresh.compared["raw files"] > 20
    )
    tests, compound = results / "plain" / "tests", next((results / "plain" / "compounds").iterdir())
    recordings = sorted((archive / SOUND / "recordings").iterdir())
    mu = next(
        one
        for one in printed(read(compound / "sheet.json", Sheet))
        if re.fullmatch(r"/blocks/\d+/mu/value", one.number.key) and one.number.low
    )
    place = f"/{mu.path.replace('.', '/')}"
    for path, change, found in (
        (recordings[0], lambda path: path.write_bytes(recordings[1].read_bytes()), {("raw files", recordings[0].name)}),
        (recordings[0], lambda path: path.unlink(), {("raw files", recordings[0].name)}),
        (archive / SOUND / "wear.csv", lambda path: path.write_text(path.read_text() + "\n"), {("inputs", "wear.json"), ("inputs", "sheet.json")}),
        (tests / SOUND / "stops.csv", lambda path: path.write_text("x"), {("results", "stops.csv")}),
        (compound / "sheet.pdf", lambda path: path.write_bytes(b"%PDF-"), {("results", "sheet.pdf")}),
        (compound / "figures" / "wear.csv", lambda path: path.unlink(), {("results", "wear.csv")}),
        (compound / "sheet.json", lambda path: with_value(path, f"{place}/value", 0.123), {("results", "sheet.json"), ("numbers", "sheet.json")}),
        (compound / "sheet.json", lambda path: with_value(path, f"{place}/low", 0.123), {("results", "sheet.json"), ("numbers", "sheet.json")}),
    ):  # fmt: skip
        with changed(path, change):
            assert differences(workspace) == found, path
    with changed(tests / SOUND / "stops.parquet", lambda path: path.write_bytes(path.read_bytes()[:-1] + b"?")):
        found = differences(workspace)
    readers = (
        "friction.json",
        "wear.json",
        "drift.json",
        "sheet.json",
        "rigs.json",
        "charts.json",
        "precision.json",
        "repeatability.json",
    )
    assert found >= {("results", "stops.parquet"), *(("inputs", name) for name in readers)}
    method = workspace.parent / "methods" / "plain.yaml"
    with changed(method, lambda path: path.write_text(path.read_text() + "wear: {confidence: 90 %}\n")):
        found = verified(results).differences
    assert {one.kind for one in found} == {"settings"} and all("wear.confidence was 0.95" in one.what for one in found)
    assert {one.place.split("/")[-1] for one in found} >= {"wear.json", "duty.json"}
    assert differences(workspace) == set()


def test_results_without_their_config_or_archive_are_not_passed(workspace, tmp_path, capsys):
    moved = tmp_path / "elsewhere" / "further" / "down"
    shutil.copytree(workspace.parent / "results", moved)
    found = verified(moved)
    assert {one.kind for one in found.differences if not one.known} >= {"settings"}
    assert not [one for one in found.differences if one.known]
    assert cli.run(["verify", str(moved)]) == 3
    assert "nothing says where its method is" in capsys.readouterr().out
    assert cli.run(["verify", str(workspace.parent / "results")]) == 0
    assert "nothing differs; nothing not compared" in capsys.readouterr().out
    assert cli.run(["verify", str(tmp_path)]) == 2
    assert "holds no results of a run" in capsys.readouterr().err


def test_a_number_is_traced_to_its_stops_and_raw_files(workspace, capsys):
    results, archive = workspace.parent / "results", workspace.parent / "archive"
    sheet = next((results / "plain" / "compounds").iterdir()) / "sheet.json"
    numbers = [n for section in json.loads(sheet.read_text())["sections"] for n in section["numbers"]]
    block = next(n for n in numbers if re.fullmatch(r"/blocks/\d+/mu/value", n["key"]) and n["value"] is not None)
    found = traced(sheet, f"{Path(block['file']).stem}{block['key'].replace('/', '.')}")
    assert found.value_in_file == pytest.approx(block["value"], rel=1e-8) and found.differences == []
    assert found.stamp["stage"] == "friction" and {one.now for one in found.inputs} == {"as read"}
    (behind,) = [one for one in found.behind if one.test == SOUND]
    stops = read_table(results / "plain" / "tests" / SOUND / "stops.parquet")
    name = json.loads((sheet.parent / "friction.json").read_text())["blocks"][int(block["key"].split("/")[2])]["block"]
    own = stops.filter((pl.col("block") == name) & (pl.col("status") == "ok"))
    assert behind.stops == own["stop"].to_list() and len(behind.stops) > 1
    assert [raw.file for raw in behind.files] == own["file"].to_list()
    assert behind.card is not None and behind.readings is None
    wear = next(n for n in numbers if n["file"].endswith("/wear.json") and n["key"].endswith("um_per_stop/value"))
    readings = next(
        one
        for one in traced(sheet, f"{Path(wear['file']).stem}{wear['key'].replace('/', '.')}").behind
        if one.test == SOUND
    ).readings
    assert readings.now == "as read" and hashlib.sha256(
        (archive / SOUND / "wear.csv").read_bytes()
    ).hexdigest().startswith(readings.digest)
    for raw in behind.files:
        assert raw.digest == hashlib.sha256((archive / SOUND / raw.file).read_bytes()).hexdigest()[:32]
    figure = found.printed.path
    with changed(archive / SOUND / behind.files[0].file, lambda path: path.write_bytes(b"another")):
        assert cli.run(["trace", str(sheet), figure]) == 3
        told = capsys.readouterr().out
    assert f"differs: {SOUND}/{behind.files[0].file}: changed since" in told and behind.files[0].digest in told
    with changed(sheet.parent / "friction.json", lambda path: with_value(path, block["key"], 0.123)):
        assert traced(sheet, figure).differences == [f"{block['file']} now holds 0.123"]
    assert cli.run(["trace", str(sheet), figure, "--json"]) == 0
    content = json.loads(capsys.readouterr().out)
    assert content["differences"] == [] and content["tests"][0]["files"][0]["now"] == "as read"
    assert cli.run(["trace", str(sheet), "window, lowr end"]) == 2
    assert "nearest: " in capsys.readouterr().err
    assert cli.run(["trace", str(sheet.with_name("nothing.json")), "x"]) == 2


def test_every_number_of_a_sheet_can_be_traced(workspace):
    """None falls through: a file that the archive or the results have, or words on why it is not compared."""
    sheet = next((workspace.parent / "results" / "plain" / "compounds").iterdir()) / "sheet.json"
    paths = [one.path for one in printed(read(sheet, Sheet))]
    for path in paths[:: max(len(paths) // 40, 1)]:
        found = traced(sheet, path)
        assert found.differences == [], path
        assert (found.value_in_file is None) == bool(found.why), path
        assert (
            "/" not in found.printed.number.file
            or found.behind
            or found.printed.number.file.startswith(("targets", "facts"))
        ), path


FROM_COMPOUND = {"compound": 1, "sheet": 1, "index": 1}
FROM_DRIFT = {"drift": 1, **OF_DRIFT, **FROM_COMPOUND}


@pytest.mark.parametrize(
    ("lost", "rules"),
    [
        ("compounds/marram-6/sheet.html", {"sheet": 1}),  # no figure of the index follows from it
        ("compounds/marram-6", {"repeatability": 1, **FROM_DRIFT, "drift": 2}),  # the third names no compound
        (f"tests/{SOUND}/drift.json", FROM_DRIFT),
        (f"tests/{SOUND}/traces/01.js", {"test_page": 1}),
        ("../assets", {"test_page": 1}),  # all pages share it: one of them makes it again
        ("method.yaml", {"index": 1}),
    ],
)
def test_a_deleted_result_is_made_again_with_what_rests_on_it_and_nothing_else(workspace, tmp_path, lost, rules):
    root = workspace.parent / "results" / "plain"
    shutil.move(root / lost, tmp_path / "lost")
    planned = planned_rules(workspace)
    if (tmp_path / "lost").is_dir():
        shutil.rmtree(root / lost, ignore_errors=True)  # what holds the place of files that were to be made
    shutil.move(tmp_path / "lost", root / lost)
    for noted in root.rglob(".lost"):
        shutil.rmtree(noted)
    assert planned.pop("total") == sum(planned.values())
    planned.pop("all", None)
    assert planned == {rule: times for rule, times in rules.items() if rule != "all"}


def test_a_killed_run_leaves_no_trace(workspace):
    """Everything at once is killed while a lost file is made again; the next run goes on and says in one document what it did."""
    root = workspace.parent / "results"
    before = small_runs.results(workspace)
    (root / "plain" / "tests" / SOUND / "traces" / "02.js").unlink()
    at, _, left = kills.killed(workspace, "whole", lambda _: bool(small_runs.stages(workspace)), PATIENCE_S)
    assert at and not left
    assert small_runs.results(workspace) != before
    done = run_stopsheet("run", workspace, "--json", check=False)
    found = json.loads(done.stdout)
    assert done.stderr == "" and "\x1b" not in done.stdout
    assert (found["exit_code"], found["failed"], found["not_run"]) == (3, [], [])
    assert [(one["stage"], one["subject"]) for one in found["ran"]] == [("test_page", SOUND)]
    states = {test["test"]: test["state"] for test in found["methods"][0]["tests"]}
    assert states[SOUND] == "of use" and states[UNREADABLE] != "of use"
    log = (root / "run.log").read_text()
    assert found["log"] == str(root.resolve() / "run.log") and "jobid" in log and "\x1e" not in log
    assert small_runs.results(workspace) == before
    _stands(workspace, found)
    assert planned_rules(workspace) == {}


def test_a_dry_run_says_what_would_run_and_why(workspace):
    method = workspace.parent / "methods" / "plain.yaml"
    before, kept = small_runs.results(workspace), method.read_text()
    method.write_text(kept + "friction: {coverage: 95 %}\n")
    with edited(workspace.parent / "archive" / SOUND / "wear.csv"):
        done = run_stopsheet("run", workspace, "--dry-run", "--only", SOUND)
    method.write_text(kept)
    lines = done.stdout.splitlines()
    assert done.stderr == "" and small_runs.results(workspace) == before
    # The compound's other tests are run for this one's repeatability; the stages of one kind stand in one line.
    starts = (
        f"plain: friction: {SOUND}, {BROKEN}: setting changed: friction.coverage 0.9 to 0.95",
        f"plain: wear: {SOUND}: input changed: wear readings",
        f"plain: test_page: {SOUND}: follows friction",
    )
    assert [start for start in starts if not any(line.startswith(start) for line in lines)] == []
    assert not [line for line in lines if "index" in line or "rig_page" in line or "channels" in line]
    assert lines[-1].startswith(f"for {SOUND} ") and lines[-1].endswith("; nothing was run")
    refused = run_stopsheet("run", workspace, "--only", f"{SOUND}s", check=False)
    assert refused.returncode == 2 and f"no test of that name; nearest: {SOUND}" in refused.stderr


@pytest.mark.heavy
def test_the_command_makes_deleted_results_again_as_they_were(workspace):
    root = workspace.parent / "results"
    compound = root / "plain" / "compounds" / "marram-6"
    run_stopsheet("run", workspace, check=False)  # tests before this one leave inputs of their own
    before = small_runs.results(workspace)
    for path in (
        compound / "sheet.pdf",
        compound / "charts.html",
        root / "plain" / "tests" / SOUND / "traces" / "02.js",
    ):
        path.unlink()
    shutil.rmtree(root / "assets")
    only = json.loads(run_stopsheet("run", workspace, "--dry-run", "--json", "--only", BROKEN).stdout)["would_run"]
    done = json.loads(run_stopsheet("run", workspace, "--json", check=False).stdout)
    assert {(one["stage"], one["subject"]) for one in only} == {
        ("sheet", "marram-6"),
        ("compound_charts", "marram-6"),
        ("test_page", BROKEN),
    }
    ran = {(one["stage"], one["subject"]): one["why"] for one in done["ran"]}
    assert {stage for stage, _ in ran} == {"sheet", "compound_charts", "test_page"}
    assert ran["test_page", SOUND] == ["files that it rests on are missing"]
    assert UNREADABLE not in {subject for _, subject in ran}  # it shows no plots
    assert small_runs.results(workspace) == before
    _stands(workspace, done)
    with edited(workspace.parent / "archive" / SOUND / "wear.csv"):
        planned = json.loads(run_stopsheet("run", workspace, "--dry-run", "--json").stdout)["would_run"]
    assert next(one["why"] for one in planned if one["stage"] == "wear") == ["input changed: wear readings"]
    assert planned_rules(workspace) == {}


def _stands(workspace, done):
    """The next run has nothing to do, which it tells without the engine: its log stays."""
    log = workspace.parent / "results" / "run.log"
    written = log.stat().st_mtime_ns
    again = json.loads(run_stopsheet("run", workspace, "--json", check=False).stdout)
    assert log.stat().st_mtime_ns == written
    assert (again["ran"], again["up_to_date"]) == ([], done["up_to_date"] + len(done["ran"]))
    assert {key: again[key] for key in ("methods", "exit_code", "log")} == {
        key: done[key] for key in ("methods", "exit_code", "log")
    }


def test_every_file_below_the_results_is_an_output_or_known_by_a_rule(workspace):
    run, root = load_run(workspace), workspace.parent / "results"
    assert undeclared(run, [path for path in root.rglob("*") if path.is_file()]) == []
    assert missing(run) == []
    assert undeclared(run, [root / "plain" / "tests" / SOUND / "more.json"]) == [f"plain/tests/{SOUND}/more.json"]
