"""A run whose stages work on the nodes of a cluster under Slurm.

The engine sends jobs to the queue and asks how they are. Where it is killed or stopped it can take none back, so every job
carries a name of these results, which is left among them while a run is at work: the command takes its own jobs back
when it ends, and the next run those of one that was killed.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib.util
import os
import re
import shutil
import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pipeline.cli.lifeline import SAID_WHEN_STOPPED
from pipeline.errors import InputError
from pipeline.starting import OFF, PLACE

PROFILES = Path(__file__).parents[1] / "profiles"
PLUGIN = "snakemake_executor_plugin_slurm"
MARK = ".cluster"  # below the results: name of the jobs of a run at work
WORDS = ".slurm"  # below the results: what each job of this run said on its node
LONGEST_PAUSE_S = 180  # the plugin's, between two looks at its jobs
PATIENCE_S = 120.0  # a job that is taken back may be in the middle of a file
PAUSE_S = 1.0


@dataclass(frozen=True)
class Slurm:
    """profile: folder of the Snakemake profile that says what a job may take."""

    profile: Path
    results: Path

    @property
    def name(self) -> str:
        return f"stopsheet-{hashlib.sha256(os.fsencode(self.results.resolve())).hexdigest()[:16]}"

    @property
    def options(self) -> list[str]:
        """Of the engine."""
        words = str(self.results.resolve() / WORDS)
        return ["--workflow-profile", str(self.profile), "--slurm-logdir", words, "--slurm-jobname-prefix", self.name]

    @property
    def environment(self) -> dict[str, str]:
        """Of the engine and of its jobs, which start their stages where they are: a process of the engine that forks stages would
        run those of a job on the same machine outside of that job.
        """
        return {PLACE: OFF}

    @contextlib.contextmanager
    def at_work(self) -> Iterator[None]:
        """While jobs may be in the queue; none is at the end, unless Slurm does not answer: then the next run sees to it."""
        shutil.rmtree(self.results / WORDS, ignore_errors=True)
        (self.results / MARK).write_text(self.name, encoding="utf-8")
        try:
            yield
        finally:
            with contextlib.suppress(InputError):
                take_back(self.results)

    def said(self) -> list[str]:
        """Lines of the stages in what the jobs have said so far; what was stopped from outside is done again."""
        from pipeline.cli.engine import PREFIX

        found: dict[str, None] = {}
        for log in sorted((self.results / WORDS).rglob("*.log")):
            with contextlib.suppress(OSError):
                lines = log.read_text(encoding="utf-8", errors="replace").splitlines()
                found |= dict.fromkeys(line for line in lines if line.startswith(PREFIX) and line != SAID_WHEN_STOPPED)
        return list(found)


def chosen(profile: str, results: Path) -> Slurm:
    """The cluster of a profile, `slurm` or a folder. Raises InputError where it cannot be used here."""
    from pipeline.inputs.model import read_yaml

    folder = PROFILES / profile if profile == "slurm" else Path(profile)
    file = folder / "config.yaml"
    if not file.is_file():
        raise InputError(f"--profile {profile}: neither slurm nor a folder with a config.yaml")
    content = read_yaml(file)
    executor = content.get("executor") if isinstance(content, dict) else None
    if executor != "slurm":
        raise InputError(f"{file}: executor {executor}: only slurm is known here; write `executor: slurm`")
    if importlib.util.find_spec(PLUGIN) is None:
        raise InputError(f"--profile {profile}: needs {PLUGIN.replace('_', '-')}; pip install 'stopsheet[cluster]'")
    if shutil.which("sbatch") is None or shutil.which("squeue") is None:
        raise InputError(
            f"--profile {profile}: no sbatch and squeue here; run it on a machine that sends jobs to Slurm"
        )
    if content.get("slurm-status-command") == "squeue" and (kept_s := _kept_s(profile)) < LONGEST_PAUSE_S:
        raise InputError(
            f"{file}: Slurm forgets a job {kept_s} s after its end (MinJobAge) and squeue is asked every {LONGEST_PAUSE_S} s "
            "at the rarest, so that an end may be missed; write `slurm-status-command: sacct` in a profile of your own"
        )
    if "%" in str(results.resolve()):
        raise InputError(f"{results}: Slurm takes a % in a path for its own; put the results elsewhere")
    return Slurm(folder.resolve(), results)


def _kept_s(profile: str) -> int:
    """Seconds that Slurm remembers a job after its end."""
    try:
        words = _asked(["scontrol", "show", "config"])
    except _NoAnswerError as error:
        raise InputError(f"--profile {profile}: Slurm does not answer ({error}); run again where it does") from None
    found = re.search(r"^MinJobAge\s*=\s*(\d+)", words, re.MULTILINE)
    return int(found[1]) if found else LONGEST_PAUSE_S


def take_back(results: Path) -> None:
    """Take the jobs of an earlier run that was killed out of the queue and wait until none is at work.

    Raises InputError where that cannot be done: two runs must not write the same results.
    """
    mark = results / MARK
    if not mark.is_file():
        return
    name, until = mark.read_text(encoding="utf-8"), time.monotonic() + PATIENCE_S
    try:
        while left := _in_queue(name):
            _asked(["scancel", *left])
            if time.monotonic() > until:
                raise InputError(
                    f"{results}: Slurm has not ended job {', '.join(left)} of an earlier run; end it, then run again"
                )
            time.sleep(PAUSE_S)
    except _NoAnswerError as error:
        raise InputError(
            f"{results}: jobs of an earlier run may be at work on a cluster, and Slurm does not answer ({error}); "
            "run again where it does"
        ) from None
    mark.unlink(missing_ok=True)


def _in_queue(name: str) -> list[str]:
    """Numbers of jobs that wait, work or are ending."""
    lines = _asked(["squeue", "--me", "--noheader", "--format=%A %j"]).splitlines()
    jobs = (line.strip().partition(" ") for line in lines)  # the user's other jobs have names of any kind
    return sorted({number for number, _, job in jobs if job.startswith(name)})


class _NoAnswerError(Exception):
    """In Slurm's words."""


def _asked(command: list[str]) -> str:
    try:
        return subprocess.run(command, capture_output=True, text=True, check=True, timeout=60).stdout
    except (OSError, subprocess.SubprocessError) as error:
        why = (getattr(error, "stderr", None) or str(error)).strip().splitlines()[-1:]
        raise _NoAnswerError(f"{command[0]}: {''.join(why)}") from None
