"""On a real Slurm with one node: the same bytes as on one machine, also where a stage or the command is killed on the way.

Out of the default run; `.ci/run` runs it. Where there is no Slurm it fails and is not skipped: whoever asks for it means it.

    .venv/bin/pip install -c constraints.txt -e '.[test,cluster]' && apt-get install slurm-wlm munge
    .venv/bin/python -m pytest -n0 -s -m cluster tests/cluster
"""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
import time

import pytest

from pipeline.cli import cluster
from pipeline.stages import STAGES
from tests.cluster import slurm
from tests.conftest import REPO
from tests.studies import small_runs

pytestmark = pytest.mark.cluster
PATIENCE_S = 420.0  # for what must come; nothing here is measured by it


@pytest.fixture(scope="module")
def profile(tmp_path_factory):
    """The profile as it comes with the package, but that it asks after its jobs every few seconds."""
    folder = tmp_path_factory.mktemp("profile")
    text = (cluster.PROFILES / "slurm" / "config.yaml").read_text()
    asks = "slurm-init-seconds-before-status-checks: 20"
    assert asks in text
    (folder / "config.yaml").write_text(text.replace(asks, asks.replace("20", "2")))
    return folder


@pytest.fixture(scope="module")
def nodes(tmp_path_factory):
    with slurm.one_node(tmp_path_factory.mktemp("slurm")) as environment:
        yield environment


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Two compounds, compared, under two methods, compared: every stage of the workflow; its config, and its results made here."""
    config = small_runs.workspace(tmp_path_factory.mktemp("whole $HOME"), 2)  # a name that a shell would change
    card = config.parent / "archive" / "t-2" / "test.yaml"
    card.write_text(card.read_text().replace("Marram 4", "Marram 6").replace("M4-2406", "M6-2406"))
    (config.parent / "methods" / "other.yaml").write_text(small_runs.METHODS["edited"])
    more = "methods: [methods/plain.yaml, methods/other.yaml]\ncompare: [[plain, other]]\n"
    config.write_text(f"archive: archive\nresults: results\n{more}compare_compounds: [[Marram 4, Marram 6]]\n")
    return config, here(config)


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """One test under one method, and its results made here."""
    config = small_runs.workspace(tmp_path_factory.mktemp("small"), 1)
    return config, here(config)


def here(config):
    """Results of a run on this machine."""
    run = started(config, os.environ, "--cores", "2")
    code, _, said = ended(run)
    assert code == 0, said
    return small_runs.results(config)


def started(config, environment, *options):
    return subprocess.Popen(
        [sys.executable, "-m", "pipeline", "run", str(config), "--json", *map(str, options)],
        env={**environment, "PYTHONPATH": str(REPO)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def ended(run):
    """(exit code, what it printed as a document, complaints)"""
    told, said = run.communicate()
    return run.returncode, json.loads(told) if told else None, said


def until(what, run, ready):
    """What `ready` gives once that is anything; the run must not end before."""
    end = time.monotonic() + PATIENCE_S
    while not (found := ready()):
        assert run.poll() is None, f"{what}: the run ended before: {run.communicate()}"
        assert time.monotonic() < end, f"{what}: not in {PATIENCE_S:.0f} s"
        time.sleep(0.05)
    return found


def side_by_side(title, one, other):
    """Print the digest of every file in both, and give the names that differ."""
    print(f"\n{title}: {len(one)} files here, {len(other)} from Slurm")
    for name in sorted({*one, *other}):
        digests = [
            hashlib.sha256(files[name]).hexdigest()[:16] if name in files else "-" * 16 for files in (one, other)
        ]
        print(*digests, "same  " if digests[0] == digests[1] else "DIFFER", name)
    return sorted(name for name in {*one, *other} if one.get(name) != other.get(name))


def test_slurm_gives_the_bytes_of_one_machine_also_where_a_stage_is_killed_on_the_node(nodes, profile, whole, small):
    """Two runs at once, as on any cluster: in one nothing happens, in the other the first stage seen on the node is killed."""
    for config, _ in (whole, small):
        small_runs.forget(config)
    undisturbed = started(whole[0], nodes, "--profile", profile)
    disturbed = started(small[0], nodes, "--profile", profile)
    held = until(
        "a stage on the node", disturbed, lambda: [one for one in small_runs.stages(small[0]) if small_runs.hold(one)]
    )
    for stage in held:
        small_runs.kill(stage)
    code, told, said = ended(disturbed)
    log = (small[0].parent / "results" / "run.log").read_text()
    assert (code, said, told["failed"], told["not_run"]) == (0, "", [], []), log
    assert "Trying to restart job" in log  # and not that it was just as well without what was killed
    code, told, said = ended(undisturbed)
    log = (whole[0].parent / "results" / "run.log").read_text()
    assert (code, said, told["failed"], told["not_run"]) == (0, "", [], []), log
    assert {one["stage"] for one in told["ran"]} == set(STAGES) and "Trying to restart" not in log
    wrong = side_by_side("undisturbed", whole[1], small_runs.results(whole[0]))
    wrong += side_by_side("a stage killed on the node", small[1], small_runs.results(small[0]))
    assert wrong == []
    logs = (whole[0].parent / "results" / cluster.WORDS).rglob("*.log")
    assert {log.read_text().count("Building DAG of jobs") for log in logs} == {1}, "one engine a job, and none a stage"
    states = slurm.jobs(nodes, f"--name={','.join(names(nodes))}")
    print(
        f"\n{len(told['ran'])} stages in {len([state for _, state in states])} jobs, with those of the other run:",
        states,
    )
    assert len(states) < len(told["ran"]) / 2, "stages travel together"
    assert [state for _, state in states].count("FAILED") == 1


def test_jobs_of_a_command_that_was_killed_are_taken_back_by_the_next_run(nodes, profile, small):
    """Killed with a job at work on the node: the next run, on this machine alone, first takes that out of the queue."""
    config, wanted = small
    small_runs.forget(config)
    before = slurm.jobs(nodes)
    run = started(config, nodes, "--profile", profile)
    until("a stage on the node", run, lambda: small_runs.stages(config))
    run.kill()
    run.communicate()
    (orphan,) = [job for job in slurm.jobs(nodes) if job not in before]
    assert orphan[1] in ("RUNNING", "COMPLETING"), "taken back by the command, which was killed"
    code, told, said = ended(started(config, nodes, "--cores", "2"))
    assert (code, said, told["failed"], told["not_run"]) == (0, "", [], [])
    assert dict(slurm.jobs(nodes))[orphan[0]] == "CANCELLED"
    assert not (config.parent / "results" / cluster.MARK).exists()
    assert side_by_side("the command killed, then run here", wanted, small_runs.results(config)) == []


def names(nodes):
    """Of all jobs in Slurm's memory."""
    asked = ["squeue", "--noheader", "--states=all", "--format=%j"]
    return sorted(set(subprocess.run(asked, env=nodes, capture_output=True, text=True, check=True).stdout.split()))


def test_a_stage_that_is_killed_each_time_costs_its_own_test_alone(nodes, profile, tmp_path):
    """Two tests travel in one job and a stage of one is killed: the other's stages are done all the same, and stay."""
    config = small_runs.workspace(tmp_path, 2)
    (tmp_path / "once").mkdir()
    text = (profile / "config.yaml").read_text()
    (tmp_path / "once" / "config.yaml").write_text(text.replace("retries: 2", "retries: 0"))
    run = started(config, nodes, "--profile", tmp_path / "once")
    killed = set()
    while run.poll() is None:
        for process, line in small_runs.processes(config).items():
            if "-m pipeline --seen" in line and " stops " in line and f"{os.sep}t-1" in line:
                small_runs.kill(process)
                killed.add(process)
        time.sleep(0.02)
    code, told, _ = ended(run)
    log = (tmp_path / "results" / "run.log").read_text()
    assert killed and code == 1 and told["failed"], log
    tests = tmp_path / "results" / "plain" / "tests"
    assert not (tests / "t-1" / "stops.parquet").exists()
    assert (tests / "t-2" / "stops.parquet").is_file() and (tests / "t-2" / "wear.json").is_file(), log
    code, told, said = ended(started(config, nodes, "--profile", profile))
    assert (code, said, told["failed"], told["not_run"]) == (0, "", [], [])
    again = {(one["stage"], one["subject"]) for one in told["ran"]}
    assert ("stops", "t-1") in again and ("stops", "t-2") not in again, again
