"""A run that is killed or stopped: no child is left, and the next run ends as if nothing had happened."""

from __future__ import annotations

import json
import signal
import time

import pytest

from pipeline.workspace.made import missing, undeclared
from pipeline.workspace.run import load_run
from tests.conftest import run_stopsheet
from tests.studies import kills, small_runs

pytestmark = pytest.mark.workflow
#: until a process that was ended has gone: one that was just being started looks for its parent once its interpreter is up
PATIENCE_S = 300.0


@pytest.fixture(scope="module")
def config(tmp_path_factory):
    return small_runs.workspace(tmp_path_factory.mktemp("kills"), 1)


@pytest.mark.heavy  # by default a run of one stage is killed, in test_workflow
@pytest.mark.parametrize("all_kinds", [False, True], ids=["one", "three"])
def test_kills_of_one_run_leave_no_trace(config, all_kinds):
    """Everything at once is killed, and the next run goes on and leaves no result out.

    Of all kinds, one stage and the command alone are killed before, each time a bit further on, and what is there in the end
    is byte for byte that of an undisturbed run.
    """
    wanted = small_runs.undisturbed(config, "edited")[0] if all_kinds else {}
    small_runs.forget(config)
    small_runs.set_method(config.parent, "as it was")
    results = config.parent / "results"

    def once_there(name):
        return lambda _: (results / name).is_file()

    if all_kinds:
        at, said, left = kills.killed(config, "stage", once_there("channels/t-1.json"), PATIENCE_S)
        assert at and not left
        assert len(said) == 1 and "was killed" in said[0] and "stage " in said[0]
        at, said, left = kills.killed(config, "main", once_there("plain/tests/t-1/summary.json"), PATIENCE_S)
        assert at and not left
    small_runs.set_method(config.parent, "edited")
    at, said, left = kills.killed(config, "whole", once_there("plain/rigs.json"), PATIENCE_S)
    assert at and not left
    _told(config, run_stopsheet("run", config, "--cores", 2, "--json"))
    if all_kinds:
        assert kills.differing(small_runs.results(config), wanted) == ()
    run = load_run(config)
    assert missing(run) == [] and undeclared(run, _files(config)) == []
    _planned(config)


def _files(config):
    return [path for path in (config.parent / "results").rglob("*") if path.is_file()]


def _told(config, done):
    """The run that goes on says in one document what it did, and the engine's words are in the log alone."""
    assert done.stderr == "" and "\x1b" not in done.stdout
    found = json.loads(done.stdout)
    (method,) = found["methods"]
    (test,) = method["tests"]
    assert (found["exit_code"], found["failed"], found["not_run"]) == (0, [], [])
    assert (test["test"], test["state"], test["stops"]["ok"] + test["stops"]["suspect"]) == ("t-1", "of use", 11)
    ran = {one["stage"] for one in found["ran"]}
    assert {"sheet", "index"} <= ran and "channels" not in ran
    assert found["up_to_date"] + len(found["ran"]) == 17
    log = (config.parent / "results" / "run.log").read_text()
    assert found["log"] == str(config.parent.resolve() / "results" / "run.log") and "jobid" in log and "\x1e" not in log


def _planned(config):
    """What another setting and another reading would run, and why, by a dry run that leaves all results as they are."""
    small_runs.set_method(config.parent, "as it was")
    readings = config.parent / "archive" / "t-1" / "wear.csv"
    before, kept = small_runs.results(config), readings.read_bytes()
    readings.write_bytes(kept + b"\n")
    done = run_stopsheet("run", config, "--dry-run", "--only", "t-1")
    readings.write_bytes(kept)
    lines = done.stdout.splitlines()
    assert done.stderr == "" and small_runs.results(config) == before
    assert "plain: friction: t-1: setting changed: friction.coverage 0.95 to 0.9" in lines
    assert "plain: wear: t-1: input changed: wear readings" in lines
    assert any(line.startswith("plain: test_page: t-1: follows friction") for line in lines)
    assert not [line for line in lines if "index" in line or "rig_page" in line or "channels" in line]
    assert lines[-1].startswith("for t-1 ") and lines[-1].endswith("; nothing was run")
    refused = run_stopsheet("run", config, "--only", "t-11", check=False)
    assert refused.returncode == 2 and "no test of that name; nearest: t-1" in refused.stderr


@pytest.mark.parametrize(
    "number",
    [signal.SIGINT, *(pytest.param(number, marks=pytest.mark.heavy) for number in (signal.SIGTERM, signal.SIGHUP))],
)
def test_a_stopped_run_says_so_in_one_line_and_leaves_no_child(config, number):
    small_runs.forget(config)
    run = small_runs.start(config)
    while not small_runs.stages(config) and run.poll() is None:
        time.sleep(0.05)
    run.send_signal(number)
    assert small_runs.ended(run) == (128 + number, ["stopsheet: stopped; run again to continue"])
    until = time.monotonic() + PATIENCE_S
    while small_runs.processes(config) and time.monotonic() < until:
        time.sleep(0.05)
    assert small_runs.processes(config) == {}
    assert not [path for path in (config.parent / "results").rglob("*.part")]
