"""Jobs on nodes: groups of stages that wait for each other, and a run that takes what was seen before it."""

import asyncio
import os
from types import SimpleNamespace

import pytest
import yaml

from pipeline.cli.cluster import PROFILES
from pipeline.errors import InputError
from pipeline.inputs import seen
from pipeline.stages import STAGES
from pipeline.workspace import nodes
from pipeline.workspace.run import load_run
from tests.workflow.makers import small_workspace


def keyed(*names):
    """Jobs by name; the real ones are hashable."""
    return {name: type("Job", (), {"rule": SimpleNamespace(name=name)})() for name in names}


def refuse(waits, groups):
    jobs = keyed(*{*waits, *(one for others in waits.values() for one in others)})
    made = {name: object() for name in set(groups.values())}
    nodes.refuse_rings(
        jobs.values(),
        {jobs[name]: [jobs[one] for one in waits.get(name, ())] for name in jobs},
        {jobs[name]: made[group] for name, group in groups.items()},
    )


WAITS = {"stops": ["channels"], "drift": ["stops", "repeatability"], "repeatability": ["stops"], "rigs": ["stops"]}


def test_groups_that_can_begin_are_taken():
    refuse(WAITS, {"channels": "test", "stops": "test", "drift": "drift", "repeatability": "drift"})
    refuse(WAITS, {})
    refuse(WAITS, dict.fromkeys(["stops", "drift", "repeatability", "rigs", "channels"], "all"))


def test_a_group_that_waits_for_what_waits_for_it_is_refused():
    with pytest.raises(InputError, match="drift, repeatability, stops wait for each other"):
        refuse(WAITS, {"stops": "test", "drift": "test"})
    with pytest.raises(
        InputError, match="wait for each other"
    ):  # two groups, none of which leaves and comes back alone
        refuse({"a": ["b"], "c": ["d"]}, {"a": "one", "d": "one", "b": "two", "c": "two"})


def test_the_profile_puts_every_stage_into_a_job_of_many():
    content = yaml.safe_load((PROFILES / "slurm" / "config.yaml").read_text())
    assert set(content["groups"]) == set(STAGES)
    assert set(content["group-components"]) <= set(content["groups"].values())


def test_a_job_on_a_node_takes_what_the_run_saw_and_writes_nothing(tmp_path):
    config = small_workspace(tmp_path, ["one"])
    run = load_run(config)
    before, settings = run.fingerprint("one"), run.settings_file("plain", "stops")
    files = (run.fingerprint_file("one"), run.target_file("one"), settings)
    card = tmp_path / "archive" / "one" / "test.yaml"
    card.write_text(card.read_text() + "\n# edited\n")
    (tmp_path / "methods" / "plain.yaml").write_text("friction: {coverage: 95 %}\n")
    load_run.cache_clear()
    kept = {path: path.read_bytes() for path in (tmp_path / "results").rglob("*") if path.is_file()}
    node = load_run(config).as_seen()
    assert node.fingerprint("one") == before
    assert (node.fingerprint_file("one"), node.target_file("one"), node.settings_file("plain", "stops")) == files
    assert node.settings_file("plain", "friction").endswith("friction.json")
    assert kept == {path: path.read_bytes() for path in (tmp_path / "results").rglob("*") if path.is_file()}
    assert load_run(config).fingerprint("one") != before and seen.look(card.parent)


class Stage:
    """A job as the engine has it; what is told it of its end goes to the log."""

    def __init__(self, folder, name, given, log):
        self.name, self.input, self.output = name, [str(folder / given)], [str(folder / name)]
        self._log = log

    async def postprocess(self, error=False, **how):
        self._log.append((self.name, error))


def test_of_a_job_in_which_a_stage_failed_what_is_whole_is_kept(tmp_path):
    """raw -> stops -> wear of three tests: one whole, one whose wear is of older stops, one that was not begun."""
    for at, name in enumerate(("raw", "old.wear", "whole.stops", "whole.wear", "old.stops")):
        (tmp_path / name).write_text("")
        os.utime(tmp_path / name, (at, at))
    log, tests = [], ("whole", "old", "none")

    class Group:
        toposorted = (
            [Stage(tmp_path, f"{test}.stops", "raw", log) for test in tests],
            [Stage(tmp_path, f"{test}.wear", f"{test}.stops", log) for test in tests],
        )

        async def postprocess(self, error=False, **how):
            log.append(("as usual", error))

    nodes.keep_whole(Group)
    asyncio.run(Group().postprocess(error=True))
    assert log[:3] == [("whole.stops", False), ("old.stops", False), ("none.stops", True)]
    assert log[3:] == [("whole.wear", False), ("old.wear", True), ("none.wear", True)]
    asyncio.run(Group().postprocess())
    assert log[6:] == [("as usual", False)]
