"""Which files a run makes: job by job from the table of stages, and what lies among the results beside these.

Somebody deletes a result: what it was made from still stands, and what rests on it too, so the engine sees nothing to do
where nobody names the file itself. What is missing is therefore looked for here and named (`workspace.targets`).
"""

from __future__ import annotations

import os
import re
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from pipeline.results import beside
from pipeline.results.left_over import MARK
from pipeline.stage_row import Level
from pipeline.stages import STAGES
from pipeline.workspace.run import Run

#: of a method's stages those that tests and compounds rest on: the others wait for the whole archive
SHARED = ("rigs", "precision", "charts", "extracts")
#: what lies among the results and is none, by its path below them: it may be lost without loss, or is told otherwise
NO_RESULT = {
    r"(.*/)?\..*": "the run's own notes: what it saw, was given and did, and the engine's memory",
    r"run\.log": "the engine's words of the last run",
    r".*\.fault\.(json|txt)": "a fault that the results beside it carry; without it they are taken as they are",
    rf".*/{re.escape(MARK)}": "the mark of results that no run makes; listed with archive.json",
}


@dataclass(frozen=True)
class Made:
    """What one job makes. files: below the results, by `/`."""

    stage: str
    files: tuple[str, ...]


def made(run: Run, only: str | None = None) -> Iterator[Made]:
    """Every job of a run in the order of the stages; `only`: those of a test and its compound, and what all share."""
    for stage in STAGES.values():
        if only is None or stage.level != "method" or stage.name in SHARED:
            for names in _subjects(run, stage.level, only):
                yield Made(stage.name, tuple(path.format(**names) for path in stage.files.values()))


def missing(run: Run, only: str | None = None, stages: Collection[str] = STAGES) -> list[str]:
    """The files of `made` that are not there, below the results; `stages`: of these."""
    wanted = (job for job in made(run, only) if job.stage in stages)
    return [file for job in wanted for file in job.files if not os.path.exists(f"{run.results}/{file}")]


def _subjects(run: Run, level: Level, only: str | None) -> list[dict[str, str]]:
    """The names in a level's paths, once for each test, compound, rig, method, comparison or pair that it works on."""
    slug = None if only is None else dict(run.slug_of).get(run.found.tests[only] or "")
    tests = run.planned_tests if only is None else [only]
    compounds = run.planned_compounds if only is None else [slug] if slug else []
    every = only is None
    if level == "recordings":
        return [{"test": test} for test in tests]
    if level == "comparison":
        return [{"a": a, "b": b} for a, b in run.compare] if every else []
    by_method: dict[Level, list[dict[str, str]]] = {
        "test": [{"test": test} for test in tests],
        "compound": [{"compound": compound} for compound in compounds],
        "rig": [{"rig": rig} for rig in run.rig_pages] if every else [],
        "method": [{}],
        "pair": [{"one": one, "other": other} for one, other in run.planned_pairs] if every else [],
    }
    return [{"method": method, **names} for method in run.methods for names in by_method[level]]


def undeclared(run: Run, files: Iterable[Path]) -> list[str]:
    """Those of the files below the results that no run knows: no output, not listed beside one, of no kind that is no result."""
    root = Path(run.results)
    outputs = {root / file for job in made(run) for file in job.files}
    known = outputs | {file for output in outputs for file in beside.listed(output)}
    names = [path.relative_to(root).as_posix() for path in files if path not in known]
    return [name for name in names if not any(re.fullmatch(kind, name) for kind in NO_RESULT)]
