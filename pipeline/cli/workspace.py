"""The commands that people type: run, check, docs."""

from __future__ import annotations

import contextlib
import os
import re
import sys
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import IO

from pipeline import faults
from pipeline.archive.scan import holds_card, printable
from pipeline.cli import cluster, ending, engine, progress, screen, standing, upkeep
from pipeline.cli.bounds import read_within
from pipeline.cli.lifeline import alone
from pipeline.cli.progress import Progress
from pipeline.cli.summary import OUR_FAULT, UNUSABLE, Failed, MethodEnd, RunEnd, exit_code, failures, method_end
from pipeline.errors import InputError
from pipeline.results import version
from pipeline.results.archive import Archive
from pipeline.workspace import telling
from pipeline.workspace.planned import Part
from pipeline.workspace.run import Run, load_run
from pipeline.workspace.targets import count, refuse_unknown

DRY_LOG = ".dry-run.log"
EXTRACTS = "extracts.json"
# The engine's words on a job that failed: one or the other, as it comes.
FAILED = re.compile(r"^Error in rule (\w+):|-m pipeline .*? (\w+) --(?:test|archive|compound|config)[= ]")


def run(
    *,
    config: Path,
    cores: int | None,
    profile: str | None = None,
    only: str | None = None,
    dry_run: bool = False,
    as_json: bool = False,
) -> int:
    """Run the whole workflow of a config; 3 when some test is unusable or has no stop of use, 128 + n when signal n
    stopped it.

    profile: of a cluster that the stages run on; only: one test, with what shows it; dry_run: tell what would run and why. What a killed run left behind (the engine's
    lock, parts of files) is cleared: this command holds a lock that every process of a run shares, so whoever gets it is
    alone.
    """
    config = given_config(config)
    if cores is not None and cores < 1:
        raise InputError(f"--cores {cores}: at least 1")
    if cores is not None and profile is not None:
        raise InputError("--cores: is of this machine; on a cluster the profile says what a job may take")
    loaded = load_run(config)
    refuse_unknown(loaded, only)
    results = Path(loaded.results)
    results.mkdir(parents=True, exist_ok=True)
    nodes = cluster.chosen(profile, results) if profile is not None and not dry_run else None
    cores = 0 if nodes else cores or os.cpu_count() or 1
    told = Progress(cores, progress.earlier(results))
    with alone(results, config) as lock:
        if not dry_run:
            cluster.take_back(results)
        before, last = standing.look(loaded), standing.noted(results)
        if last is not None and last.holds(before):
            ended: RunEnd | None = _standing(loaded, last, only, told)
            code, ready = 0, last.up_to_date
        else:
            where = nodes.options if nodes else ["--workflow-profile", "none", "--cores", str(cores)]
            command = [*_snakemake(config, results), *where, *(["--dry-run"] if dry_run else [])]
            parts = Parts(loaded, last, before) if nodes is None else Parts(loaded, None, None)
            code, heard = _driven(command, results, lock, told, parts, nodes=nodes, only=only, dry_run=dry_run)
            ended = None if dry_run else _ended(loaded, heard, code, only)
            ready = _ready(loaded, told)
            if ended is not None and only is None and ended.code in (0, UNUSABLE) and not ended.failed:
                standing.note(loaded, before, ended.methods, parts.planned)
    if dry_run and code == 0:
        planned = ending.Planned(told.planned, None if only else ready, only, told.left_s())
        ending.show_plan(planned, as_json=as_json)
    elif ended is not None and not dry_run:
        ending.show(ended, as_json=as_json)
        return ended.code
    return OUR_FAULT if code else code


def _driven(
    command: list[str],
    results: Path,
    lock: IO[str],
    told: Progress,
    parts: Parts,
    *,
    nodes: cluster.Slurm | None,
    only: str | None,
    dry_run: bool,
) -> tuple[int, engine.Heard]:
    """The engine's plan, carried out unless the run is dry; (its exit code, what was heard).

    In two parts: first what is cut out of the files of the whole archive for each test and compound, with all that this rests on, then
    the rest, of which only what takes something else than before is made again. Both parts plan for the tests and compounds that
    differ (`parts`), where that is known.
    """
    upkeep.clear(results)
    with nodes.at_work() if nodes else contextlib.nullcontext():
        try:
            with screen.shown((lambda: progress.LOOKING) if dry_run else told.line) as shown:

                def drive(cut: str, part: Part | None, before: engine.Heard | None = None) -> tuple[int, engine.Heard]:
                    parts.planned = part
                    return engine.drive(
                        command, results, lock, progress=told, screen=shown, log=DRY_LOG if dry_run else engine.LOG,
                        told={telling.ONLY: only or "", telling.CUT: cut, telling.PART: _handed(part, parts.run),
                              **(nodes.environment if nodes else {})},
                        elsewhere=nodes.said if nodes else None, before=before,
                    )  # fmt: skip

                if not parts.cut:  # without results all would run anyhow
                    code, heard = drive("", None)
                elif dry_run:
                    code, heard = drive(telling.THEN, parts.first)
                else:
                    code, heard = drive(telling.FIRST, parts.first)
                    again = not heard.for_all
                    while again:
                        cuts = told.done("extracts")
                        told.plan_anew()
                        # where something failed, whatever does not wait for it is still done
                        code, heard = drive("" if code else telling.THEN, parts.then, heard)
                        again = (
                            not code and told.done("extracts") > cuts
                        )  # something changed meanwhile: others may follow
        finally:
            progress.keep(results, told)
            upkeep.sweep(results)
            if dry_run:
                upkeep.without_places(results)
    if code != 0 and not heard.said:
        heard.said.append(f"{engine.PREFIX}{_engine_fault(results, heard)}")
        print(heard.said[0], file=sys.stderr)
    return code, heard


@dataclass
class Parts:
    """What the two parts of a run plan for: None for the whole archive. last, before: what stood, and what there is now; planned: what
    the engine was last called for.
    """

    run: Run
    last: standing.Standing | None
    before: standing.Look | None
    planned: Part | None = None

    @property
    def cut(self) -> bool:
        """Whether there are results of which only some need be made again."""
        return any((Path(self.run.results) / name / EXTRACTS).is_file() for name in self.run.methods)

    @cached_property
    def first(self) -> Part | None:
        return standing.differing(self.run, self.last, self.before)

    @property
    def then(self) -> Part | None:
        """With the tests and compounds that the first part of the run has moved; all where somebody edits one of the first meanwhile."""
        if self.first is None or self.before is None:
            return None
        now = standing.look(self.run, self.before, self.first)
        if now is None or now.given != self.before.given:
            return None
        moved = standing.moved(self.run, self.last, now)
        return None if moved is None else self.first | moved


def _handed(part: Part | None, run: Run) -> str:
    """The file that hands the part to the engine; empty for the whole archive."""
    if part is None:
        return ""
    place = Path(run.results) / telling.PLANNED
    part.write(place, run.found)
    return str(place)


def _standing(loaded: Run, last: standing.Standing, only: str | None, told: Progress) -> RunEnd:
    """The end of a run that has nothing to do, as the last one ended."""
    told.hear(telling.Event("ready"))
    methods = _methods(loaded, only) if only is not None else last.methods
    log = Path(loaded.results) / engine.LOG
    ready, kept = None if only else last.up_to_date, log if log.is_file() else None
    return RunEnd(methods, [], told.seconds, ready, [], [], kept, exit_code(methods, []), only)


def _ended(loaded: Run, heard: engine.Heard, code: int, only: str | None) -> RunEnd:
    """What the run came to; where the engine failed, no tests: their files may be of different states."""
    faults, methods = (loaded.faults(), _methods(loaded, only)) if code == 0 else ([], [])
    faults = [one for one in faults if only in (None, one.subject) or one.subject not in loaded.tests]
    for text in dict.fromkeys(printable(f"stopsheet: {fault.subject}: {fault.why}") for fault in faults):
        if text not in heard.said:
            print(text, file=sys.stderr)
    told = heard.progress
    failed = failures(faults, [told.jobs[number] for number in told.failed], heard.said)
    if code != 0 and not failed:
        failed = [Failed("run", "", heard.said[0].removeprefix(engine.PREFIX))]
    return RunEnd(
        methods,
        told.ran,
        told.seconds,
        None if only else _ready(loaded, told),
        failed,
        told.not_run,
        heard.log,
        exit_code(methods, faults) if code == 0 else OUR_FAULT,
        only,
    )


def _ready(loaded: Run, told: Progress) -> int:
    """Number of stages that were up to date; one that ran twice, as something changed meanwhile, is one, and may be of a test that is new."""
    return max(count(loaded) - len({(job.stage, job.method, job.subject) for job in told.jobs.values()}), 0)


def _methods(loaded: Run, only: str | None) -> list[MethodEnd]:
    from pipeline.report.index_page import test_row

    ends = []
    for name, method in loaded.read_methods:
        root, archive, page = Path(loaded.results) / name, None, None
        if only is not None:  # archive.json and index wait for the whole archive
            page = root / "tests" / only / "test.html"
            archive = Archive(method=name, tests=[test_row(loaded, root, only, drawn=False).state], software=version())
        ends.append(method_end(root, method.friction.use_suspect, archive, page))
    return ends


def given_config(place: Path) -> Path:
    """The config that was named, or that of an archive or of the archive that holds a test. Raises InputError where there is none."""
    config = _config_of(place) if place.is_dir() else place
    if not config.is_file():
        raise InputError(f"{config}: no such config file; correct the path")
    return config


def _config_of(folder: Path) -> Path:
    """The config of an archive or of the archive that holds a test, made where there is none; a test's blanks are told at once."""
    from pipeline.archive.card import load_card
    from pipeline.workspace.of_folder import config_of

    if holds_card(folder):
        load_card(folder.resolve())
    config = config_of(folder)
    print(printable(f"config: {config}"))
    return config


def _engine_fault(results: Path, heard: engine.Heard) -> str:
    """Why the engine ended where no stage said a word: a fault of the machine in its last words, or those."""
    words = [line.strip() for line in heard.last if line.strip()]
    for text in reversed(words):
        number = faults.number_of(Exception(text))
        if number in faults.SAID:
            return faults.line(results, number)
    told = [heard.progress.jobs[number] for number in heard.progress.failed]
    if told:
        about = f"{told[0].subject}: " if told[0].subject else ""
        return f"{about}stage {told[0].stage} {engine.KILLED}"
    failed = next((found[1] or found[2] for text in words if (found := FAILED.search(text))), None)
    if failed:  # a stage that can, says why itself
        return f"stage {failed} {engine.KILLED}"
    last = words[-1] if words else "it said nothing"
    place = f"; its words are in {heard.log}" if heard.log else ""
    return f"the run ended early ({last}){place}; run again"


def _snakemake(config: Path, results: Path) -> list[str]:
    # -P: the folder of the call is not searched for modules. A workflow profile is always named: Snakemake would else take
    # a folder `default` or `profiles/default` that lies there for one, and a profile may name programs.
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
        "--profile",
        str(profile),
    ]


def snakefile() -> Path:
    """The Snakefile beside the package (a checkout) or inside it (installed)."""
    package = Path(__file__).parents[1]
    beside = package.parent / "Snakefile"
    return beside if beside.is_file() else package / "Snakefile"


def check(*, place: Path, as_json: bool = False) -> int:
    """What is wrong before anything is reduced: a line each, then a table by test."""
    refused = read_within()
    if refused is not None:
        raise InputError(f"{place}: {refused}")
    from pipeline.cli import check as command

    return command.check(place, as_json=as_json)


def docs(*, into: Path) -> int:
    """Write the generated documentation pages."""
    from pipeline.cli.command_page import PAGE, command_page
    from pipeline.report.reference_pages import write_pages
    from pipeline.results import write_text

    written = write_pages(into)
    write_text(into / PAGE, command_page())
    for page in [*written, into / PAGE]:
        print(page)
    return 0
