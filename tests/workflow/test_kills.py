"""A run that is killed or stopped: no child is left, and the next run ends as if nothing had happened."""

from __future__ import annotations

import signal
import time

import pytest

from tests.studies import kills, small_runs

pytestmark = pytest.mark.workflow


@pytest.fixture(scope="module")
def config(tmp_path_factory):
    return small_runs.workspace(tmp_path_factory.mktemp("kills"), 1)


def test_three_kills_of_one_run_leave_no_trace(config):
    """One stage, the command alone and everything at once are killed one after the other, each time a bit further on."""
    wanted, _ = small_runs.undisturbed(config, "edited")
    small_runs.forget(config)
    small_runs.set_method(config.parent, "as it was")
    results = config.parent / "results"

    def once_there(name):
        return lambda _: (results / name).is_file()

    at, said, left = kills.killed(config, "stage", once_there("channels/t-1.json"))
    assert at and not left
    assert len(said) == 1 and "was killed" in said[0] and "stage " in said[0]
    at, said, left = kills.killed(config, "main", once_there("plain/tests/t-1/summary.json"))
    assert at and not left
    small_runs.set_method(config.parent, "edited")
    at, said, left = kills.killed(config, "whole", once_there("plain/rigs.json"))
    assert at and not left
    assert small_runs.run(config) == (0, [])
    assert kills.differing(small_runs.results(config), wanted) == ()


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_stopped_run_says_so_in_one_line_and_leaves_no_child(config, number):
    small_runs.forget(config)
    run = small_runs.start(config)
    until = time.monotonic() + 60
    while not small_runs.stages(config) and time.monotonic() < until:
        time.sleep(0.05)
    run.send_signal(number)
    assert small_runs.ended(run) == (128 + number, ["stopsheet: stopped; run again to continue"])
    assert small_runs.processes(config) == {}
    assert not [path for path in (config.parent / "results").rglob("*.part")]
