"""What a run is to bring up to date: everything, or one test and what shows it; and of how many stages all consists."""

from __future__ import annotations

import difflib

from pipeline.errors import InputError
from pipeline.workspace.made import made, missing
from pipeline.workspace.run import Run

#: stages that `extracts` rests on
BEFORE_CUT = frozenset(("channels", "stops", "wear", "repeatability", "drift", "rigs", "precision", "charts"))


def targets(run: Run, only: str | None = None) -> list[str]:
    """Results that no other is made of, and whatever is missing of the others.

    Where the former are up to date, so are all that they rest on, as far as these are there: the engine does not look for
    a file that was deleted where what was made of it still stands. All files of a large archive would be too many to name.

    `only`: of one test its page, and the sheet and charts of its compound, with what is missing of theirs.
    """
    return list(dict.fromkeys([*_last(run, only), *(f"{run.prefix}{file}" for file in missing(run, only))]))


def cut_out(run: Run) -> list[str]:
    """What the results of tests and compounds rest on of the whole archive, and whatever is missing of the stages before."""
    cut = [f"{run.prefix}{method}/extracts.json" for method in run.methods]
    return [*cut, *(f"{run.prefix}{file}" for file in missing(run, stages=BEFORE_CUT))]


def _last(run: Run, only: str | None) -> list[str]:
    if only is not None:
        slug = dict(run.slug_of).get(run.found.tests[only] or "")
        shown = [f"compounds/{slug}/{name}" for name in ("sheet.json", "charts.html")] if slug else []
        return [f"{run.prefix}{m}/{name}" for m in run.methods for name in (f"tests/{only}/test.html", *shown)]
    return [
        *(f"{run.prefix}{m}/index.html" for m in run.methods),
        *(f"{run.prefix}{m}/tests/{test}/test.html" for m in run.methods for test in run.planned_tests),
        *(f"{run.prefix}{m}/rigs/{rig}.html" for m in run.methods for rig in run.rig_pages),
        *(f"{run.compound_folder(m, slug)}/charts.html" for m in run.methods for slug in run.planned_compounds),
        *(f"{run.prefix}deltas/{a}--{b}/delta.html" for a, b in run.compare),
        *(f"{run.prefix}{m}/comparisons/{a}--{b}/comparison.html" for m in run.methods for a, b in run.planned_pairs),
    ]


def refuse_unknown(run: Run, only: str | None) -> None:
    """Raise InputError where the archive has no such test; its message has those of a similar name."""
    if only is None or only in run.found.tests:
        return
    near = difflib.get_close_matches(only, run.tests, n=3)
    known = f"nearest: {', '.join(near)}" if near else f"the folders of {run.archive} are its tests"
    raise InputError(f"--only {only}: no test of that name; {known}")


def count(run: Run) -> int:
    """Number of stages, each counted for each test, compound, rig, pair and method that it works on."""
    return sum(1 for _ in made(run))
