"""Jobs on the nodes of a cluster: what the engine is to do otherwise there, for the Snakefile.

A job of the cluster holds many stages (a group). On its node one engine starts them side by side on the cores that the
job was given.
"""

from __future__ import annotations

import asyncio
import os
import sys
from collections.abc import Iterable
from graphlib import CycleError, TopologicalSorter
from typing import Any

from pipeline.errors import InputError


def light_groups(dag: type[Any], refusal: type[Exception]) -> None:
    """Look for groups that depend on themselves once, in time linear in the jobs and what they wait for.

    The engine's own search walks from every job of a group to the start, for each job of the group again: its time grows with the
    square of the archive. refusal: the engine's kind of error.
    """

    def check(dag: Any) -> None:
        try:
            refuse_rings(dag.needrun_jobs(), dag.dependencies, dag._group)
        except InputError as error:
            raise refusal(str(error)) from None

    dag.validate_group = lambda dag, group: None
    dag._check_groups = check


def refuse_rings(jobs: Any, waits_for: Any, group_of: Any) -> None:
    """InputError where the jobs of a group wait for one of another that waits for the first: neither could ever begin.

    jobs: those to run; waits_for: job -> jobs; group_of: job -> its group, for those in one.
    """
    jobs = set(jobs)
    whole = {job: id(group_of[job]) if job in group_of else job for job in jobs}
    graph: dict[Any, set[Any]] = {one: set() for one in whole.values()}
    for job in jobs:
        graph[whole[job]] |= {whole[other] for other in waits_for[job] if other in jobs} - {whole[job]}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        ring = set(error.args[1])
        names = sorted({job.rule.name for job in jobs if whole[job] in ring})
        raise InputError(
            f"groups of the profile: {', '.join(names)} wait for each other; put them into one group or into none"
        ) from None


def keep_whole(group: type[Any]) -> None:
    """Let a job of the cluster in which a stage failed keep what its other stages made.

    The engine takes a group that failed for failed as a whole and removes all of its files. Here stages write whole or not at all, so
    what is there and not older than anything that it was made from is a result; the next run begins with the others. group: the
    engine's kind of job.
    """
    usual = group.postprocess

    async def postprocess(jobs: Any, error: bool = False, **how: Any) -> None:
        if not error:
            await usual(jobs, error=False, **how)
            return
        levels = [list(level) for level in jobs.toposorted]
        made = {job for level in levels for job in level if is_made(job.input, job.output)}
        for level in levels:  # files that are kept get times in the order of the stages
            await asyncio.sleep(0.1)
            for job in level:
                await job.postprocess(error=job not in made, check_output_mtime=False, **how)

    group.postprocess = postprocess


def is_made(inputs: Iterable[str], outputs: Iterable[str]) -> bool:
    """Whether all files are there and no output is older than an input."""
    try:
        given = [os.stat(path).st_mtime_ns for path in inputs]
        made = [os.stat(path).st_mtime_ns for path in outputs]
    except OSError:
        return False
    return max(given, default=0) <= min(made, default=0)


def stages_at_once() -> None:
    """Let a job under Slurm start its stages itself, as many at a time as it was given cores, and go on with those that do not
    rest on one that failed.

    The plugin starts one stage after the other, each as a step with an engine of its own: two to three times the work where
    stages take a second, and one core in use. Does nothing where Slurm is not used.
    """
    plugin = sys.modules.get("snakemake_executor_plugin_slurm")
    if plugin is not None:
        plugin.Executor.additional_general_args = lambda executor: '--keep-going --cores "$SLURM_CPUS_ON_NODE"'
