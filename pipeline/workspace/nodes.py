"""Jobs on the nodes of a cluster: what the engine is to do otherwise there, for the Snakefile.

A job of the cluster holds many stages (a group). On its node one engine starts them side by side on the cores that the
job was given.
"""

from __future__ import annotations

import sys
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


def stages_at_once() -> None:
    """Let a job under Slurm start its stages itself, as many at a time as it was given cores.

    The plugin starts one stage after the other, each as a step with an engine of its own: two to three times the work where
    stages take a second, and one core in use. Does nothing where Slurm is not used.
    """
    plugin = sys.modules.get("snakemake_executor_plugin_slurm")
    if plugin is not None:
        plugin.Executor.additional_general_args = lambda executor: '--cores "$SLURM_CPUS_ON_NODE"'
