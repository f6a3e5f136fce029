"""The commands that people type: run, check, docs."""

from __future__ import annotations

import fcntl
import os
import subprocess
import sys
from pathlib import Path

from pipeline.archive.plan import plan
from pipeline.cli.summary import OUR_FAULT, outcome
from pipeline.errors import InputError


def run(*, config: Path, cores: int | None) -> int:
    """Run the whole workflow of a config; 3 when some test is unusable or has no stop of use.

    A lock that a killed run left behind is cleared: this command holds a lock of its own while it runs, so whoever gets
    it is alone.
    """
    if not config.is_file():
        raise InputError(f"{config}: no such config file")
    if cores is not None and cores < 1:
        raise InputError(f"--cores {cores}: at least 1")
    planned = plan(config)
    results = Path(planned.results)
    results.mkdir(parents=True, exist_ok=True)
    with (results / ".running").open("w") as held:
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise InputError(f"{config}: another run is writing {results}; wait for it") from None
        command = _snakemake(config, results, cores or os.cpu_count() or 1)
        if any((results / ".snakemake" / "locks").glob("*")):
            subprocess.run([*command, "--unlock"], check=False, capture_output=True)
        code = subprocess.run(command, check=False).returncode
    if code != 0:
        print("stopsheet: the run did not finish; the messages above name the stage", file=sys.stderr)
        return OUR_FAULT
    return outcome(results, {name: method.friction.use_suspect for name, method in planned.read_methods})


def _snakemake(config: Path, results: Path, cores: int) -> list[str]:
    # -P: the folder of the call is not searched for modules. No workflow profile: Snakemake would take a folder
    # `default` or `profiles/default` that lies there for one, and a profile may name programs.
    profile = Path(__file__).parents[1] / "profiles" / "local"
    return [
        sys.executable, "-P", "-m", "snakemake", "-s", str(snakefile()), "--directory", str(results),
        "--configfile", str(config.resolve()), "--workflow-profile", "none", "--cores", str(cores), "--profile", str(profile),
    ]  # fmt: skip


def snakefile() -> Path:
    """The Snakefile beside the package (a checkout) or inside it (installed)."""
    package = Path(__file__).parents[1]
    beside = package.parent / "Snakefile"
    return beside if beside.is_file() else package / "Snakefile"


def check(*, place: Path) -> int:
    """Validate everything without reducing: one line a problem, then a summary."""
    from pipeline.archive.check import check as problems_of

    return problems_of(place)


def docs(*, into: Path) -> int:
    """Write the generated documentation pages."""
    from pipeline.report.reference_pages import write_pages

    for page in write_pages(into):
        print(page)
    return 0
