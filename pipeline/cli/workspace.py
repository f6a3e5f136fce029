"""The commands that people type: run, check, docs."""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path

from pipeline import faults
from pipeline.cli import engine, upkeep
from pipeline.cli.bounds import read_within
from pipeline.cli.lifeline import alone
from pipeline.cli.summary import OUR_FAULT, outcome
from pipeline.errors import InputError
from pipeline.workspace.run import load_run

# The engine's words on a job that failed: one or the other, as it comes.
FAILED = re.compile(r"^Error in rule (\w+):|-m pipeline .*? (\w+) --(?:test|archive|compound|config)[= ]")


def run(*, config: Path, cores: int | None) -> int:
    """Run the whole workflow of a config; 3 when some test is unusable or has no stop of use, 128 + n when signal n
    stopped it.

    What a killed run left behind (the engine's lock, parts of files) is cleared: this command holds a lock that every
    process of a run shares, so whoever gets it is alone.
    """
    if not config.is_file():
        raise InputError(
            f"{config}: is a folder; give the config file in it"
            if config.is_dir()
            else f"{config}: no such config file"
        )
    if cores is not None and cores < 1:
        raise InputError(f"--cores {cores}: at least 1")
    loaded = load_run(config)
    results = Path(loaded.results)
    results.mkdir(parents=True, exist_ok=True)
    with alone(results, config) as lock:
        upkeep.clear(results)
        try:
            code, heard = engine.drive(_snakemake(config, results, cores or os.cpu_count() or 1), results, lock)
        finally:
            upkeep.sweep(results)
    if code != 0:
        if not heard.said:
            print(f"stopsheet: {_engine_fault(results, heard)}", file=sys.stderr)
        return OUR_FAULT
    use_suspect = {name: method.friction.use_suspect for name, method in loaded.read_methods}
    return outcome(results, use_suspect, loaded.faults(), heard.said)


def _engine_fault(results: Path, heard: engine.Heard) -> str:
    """Why the engine ended where no stage said a word: a fault of the machine in its last words, or those."""
    words = [line.strip() for line in heard.last if line.strip()]
    for text in reversed(words):
        number = faults.number_of(Exception(text))
        if number in faults.SAID:
            return faults.line(results, number)
    failed = next((found[1] or found[2] for text in words if (found := FAILED.search(text))), None)
    if failed:  # a stage that can, says why itself
        return f"stage {failed} {engine.KILLED}"
    last = words[-1] if words else "it said nothing"
    return f"the workflow engine ended early ({last}); its log is in {results / '.snakemake' / 'log'}; run again"


def _snakemake(config: Path, results: Path, cores: int) -> list[str]:
    # -P: the folder of the call is not searched for modules. No workflow profile: Snakemake would take a folder
    # `default` or `profiles/default` that lies there for one, and a profile may name programs.
    profile = Path(__file__).parents[1] / "profiles" / "local"
    return [
        sys.executable,
        "-P",
        "-m",
        "snakemake",
        "-s",
        str(snakefile()),
        "--directory",
        str(results),
        "--configfile",
        str(config.resolve()),
        "--workflow-profile",
        "none",
        "--cores",
        str(cores),
        "--profile",
        str(profile),
    ]


def snakefile() -> Path:
    """The Snakefile beside the package (a checkout) or inside it (installed)."""
    package = Path(__file__).parents[1]
    beside = package.parent / "Snakefile"
    return beside if beside.is_file() else package / "Snakefile"


def check(*, place: Path) -> int:
    """Validate everything without reducing: one line a problem, then a summary."""
    refused = read_within()
    if refused is not None:
        raise InputError(f"{place}: {refused}")
    from pipeline.workspace.check import check as problems_of

    return problems_of(place)


def docs(*, into: Path) -> int:
    """Write the generated documentation pages."""
    from pipeline.report.reference_pages import write_pages

    for page in write_pages(into):
        print(page)
    return 0
