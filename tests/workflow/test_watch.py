"""A watch with the real workflow behind it: what it leaves is what one run at the end leaves, byte for byte."""

from __future__ import annotations

import shutil

import pytest

from pipeline.cli import workspace
from pipeline.cli.watch import ALARMED, Given, watch
from tests.watching.makers import Rig, emptied, given, nothing
from tests.workflow.makers import small_workspace, snapshot

pytestmark = [pytest.mark.workflow, pytest.mark.heavy]
BESIDE, RUNNING = "m6-2406-a", "m6-2406-b"


def of_use(results):
    """What a user reads of the results: all but the log of the last run and what begins with a dot."""
    found = snapshot(results)
    return {name: data for name, data in found.items() if name != "run.log" and not name.split("/")[0].startswith(".")}


def test_the_results_are_those_of_one_run_at_the_end(tmp_path):
    config = small_workspace(tmp_path / "place", [BESIDE, RUNNING])
    test, results = config.parent / "archive" / RUNNING, config.parent / "results"
    recordings = emptied(test, tmp_path / "rig")
    wear = (test / "wear.csv").read_text().splitlines(keepends=True)
    (test / "wear.csv").write_text("".join(line for line in wear if line[0] in "a0"))

    def read_at_the_end():
        (test / "wear.csv").write_text("".join(wear))

    # Three cut recordings in a row are an alarm, which brings the results of half a test up to date; they come again whole.
    cut = [given(one, test, share=0.4) for one in recordings[2:5]]
    steps = [given(one, test) for one in recordings[:2]] + cut + [given(one, test) for one in recordings[5:7]]
    steps += [nothing, nothing, *[given(one, test) for one in recordings[2:5]], read_at_the_end]
    steps += [given(one, test) for one in recordings[7:]]
    rig = Rig([*steps, nothing, nothing], run=workspace.run)
    assert watch(Given(config, only=RUNNING, cores=2), rig.hands) == ALARMED
    assert RUNNING in rig.runs[:-1] and rig.runs[-1] is None
    watched = of_use(results)
    shutil.rmtree(results)
    assert workspace.run(config=config, cores=2) == 0
    assert of_use(results) == watched
    assert any(name.endswith(f"tests/{RUNNING}/stops.parquet") for name in watched)
