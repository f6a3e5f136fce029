"""How long a run takes that has nothing to do, and what the stages take that read the whole archive, as its tests grow in number.

    python -m tests.benchmarks.standing [--tests 100 200 400] [--files 300] [--room FOLDER] [--write]

The archive is one simulated test of 60 stops many times over, each under its own name, in compounds of ten tests and on four rigs;
its recordings are names of their own for bytes that they share on the disk. The results are those of a true run of that test, copied for each
test and compound, with stops that scatter (else all would be copies of one, which a run counts once); the workflow engine then
records them as made (`--touch`), with the settings, inputs and digests that it plans by. So a plan has all to look at
that it has in such an archive, and no stage need run for it. Recordings are read, reduced and drawn test by test: what that takes is
in proportion to the tests, and the growth of one test stands in [growth_benchmark.md](growth_benchmark.md).

Time is processor time, user and system, of the command with the engine, or of the stage with its start; memory the highest
resident size that the kernel saw.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import math
import os
import re
import resource
import shlex
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import polars as pl
import yaml

from rig_samples.simulator import MARRAM_4, Identity, Rig, Style, simulate, write_test
from tests.benchmarks.growth import measured
from tests.conftest import REPO
from tests.hostile.base import PROGRAM
from tests.studies import small_runs

OF_A_COMPOUND, OF_A_BATCH, RIGS = 10, 5, 4
METHOD, SEED, EACH = "plain", "t-1", 12
STAGES = ("rigs", "precision", "charts", "extracts", "compound", "sheet", "comparison", "index")
PAGE = REPO / "docs" / "standing_benchmark.md"
MOST_S, AIMED = 10.0, 1000
UNUSABLE = 3
SCATTER = 0.01
TOUCH = """
import sys, snakemake.cli, snakemake.executors.touch as touch
touch.Executor.SLEEPING_TIME = 0  # s a job; it is there for disks whose times are coarse
snakemake.cli.main(sys.argv[1:])
"""

Took = tuple[float, float]  # processor seconds, peak memory (MB)


def seed(room: Path) -> Path:
    """A workspace with one test and its compound, run; its config's path."""
    program = [dataclasses.replace(block, stops=EACH) for block in PROGRAM]
    samples = simulate(program, MARRAM_4, seed=41, rig=Rig(sample_rate=50.0))
    write_test(
        room / "archive" / SEED, samples, Identity("Marram 4", "M4-2406", "1", "2026-03-01"), Style(compress=False)
    )
    (room / "methods").mkdir()
    small_runs.set_method(room, "as it was")
    config = room / "config.yaml"
    config.write_text("archive: archive\nresults: results\nmethods: [methods/plain.yaml]\n")
    _stopsheet("run", str(config))
    return config


def archive(room: Path, seeded: Path, tests: int, files: int) -> Path:
    """A finished workspace of so many tests with so many recordings each; its config's path."""
    for number in range(tests):
        _test(seeded.parent, room, number, files)
    results, old = room / "results", seeded.parent / "results"
    for number in range(-(-tests // OF_A_COMPOUND)):
        shutil.copytree(old / METHOD / "compounds" / "marram-4", results / METHOD / "compounds" / f"marram-{number}")
    shutil.copytree(old / "assets", results / "assets")
    for path in (old / METHOD).iterdir():
        if path.is_file():
            shutil.copy(path, results / METHOD)
    (results / METHOD / "rigs").mkdir()
    for number in range(RIGS):
        shutil.copy(old / METHOD / "rigs" / "north.html", results / METHOD / "rigs" / f"rig-{number}.html")
    (results / METHOD / "comparisons" / "marram-0--marram-1").mkdir(parents=True)
    for name in ("comparison.json", "comparison.html"):
        (results / METHOD / "comparisons" / "marram-0--marram-1" / name).write_text("{}")
    (room / "methods").mkdir()
    small_runs.set_method(room, "as it was")
    config = room / "config.yaml"
    config.write_text(seeded.read_text() + "compare_compounds: [[Marram 0, Marram 1]]\n")
    _engine(config, "--touch", "--forceall", "--quiet", "all")
    of_all = (
        "rigs",
        "precision",
        "charts",
        "extracts",
        "index",
    )  # what these tests come to; what rests on it is taken as it is
    files = [str(results / METHOD / f"{name}.json") for name in of_all[:-1]]
    _engine(
        config,
        "--quiet",
        "all",
        "--allowed-rules",
        *of_all,
        "--force",
        "--",
        *files,
        str(results / METHOD / "index.html"),
    )
    _engine(config, "--touch", "--forceall", "--quiet", "all")
    return config


def _test(seeded: Path, room: Path, number: int, files: int) -> None:
    """A test's folder and results. Its recordings are links to the same bytes, as many to one as make 60 of the seed's."""
    name, old, results = f"t-{number:04d}", seeded / "archive" / SEED, seeded / "results"
    folder, own = room / "archive" / name, room / "results" / METHOD / "tests" / name
    (folder / "recordings").mkdir(parents=True)
    recordings = sorted((old / "recordings").iterdir())
    for count in range(files):
        target = folder / "recordings" / f"{count:04d}.csv"
        if count < len(recordings):
            shutil.copy(recordings[count], target)
        else:
            os.link(folder / "recordings" / f"{count % len(recordings):04d}.csv", target)
    card = yaml.safe_load((old / "test.yaml").read_text())
    place = number % OF_A_COMPOUND
    card |= {"compound": f"Marram {number // OF_A_COMPOUND}", "batch": f"B-{place // OF_A_BATCH}", "specimen": f"S-{place}",
             "rig": f"rig-{number % RIGS}", "date": f"2026-{1 + number % 12:02d}-{1 + number % 28:02d}"}  # fmt: skip
    (folder / "test.yaml").write_text(yaml.safe_dump(card, sort_keys=False))
    shutil.copy(old / "wear.csv", folder)
    shutil.copytree(results / METHOD / "tests" / SEED, own)
    for path in own.glob("*.json"):
        path.write_text(path.read_text().replace(f'"{SEED}"', f'"{name}"'))
    rng = np.random.default_rng(number)
    stops = pl.read_parquet(own / "stops.parquet")
    of_specimen = 1 + SCATTER * rng.standard_normal()
    factor = pl.Series(of_specimen * (1 + SCATTER * rng.standard_normal(stops.height)))
    several = [c for c in ("torque_nm", "energy_kj", "mu", "mu_bite", "mu_start", "mu_end") if c in stops.columns]
    stops.with_columns(pl.col(several) * factor).write_parquet(own / "stops.parquet")
    (room / "results" / "channels").mkdir(exist_ok=True)
    for ending in ("json", "parquet"):
        shutil.copy(results / "channels" / f"{SEED}.{ending}", room / "results" / "channels" / f"{name}.{ending}")


def _engine(config: Path, *options: str) -> str:
    """Its words."""
    results, profile = config.parent / "results", REPO / "pipeline" / "profiles" / "local"
    done = subprocess.run(
        [sys.executable, "-P", "-c", TOUCH, "-s", str(REPO / "Snakefile"), "--directory", str(results), "--configfile", str(config),
         "--workflow-profile", "none", "--cores", "1", "--profile", str(profile), *options],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    if done.returncode:
        raise RuntimeError(done.stderr[-2000:])
    return done.stdout + done.stderr


def _stopsheet(*words: str) -> tuple[float, list[str]]:
    """Processor seconds of the command and the stages that it ran or would run."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, "-m", "pipeline", *words, "--json"], env=os.environ | {"PYTHONPATH": str(REPO)}, capture_output=True,
        text=True, check=False,
    )  # fmt: skip
    if done.returncode not in (0, UNUSABLE):
        raise RuntimeError(f"stopsheet {' '.join(words)} ended with {done.returncode}: {done.stderr[-2000:]}")
    now, found = resource.getrusage(resource.RUSAGE_CHILDREN), json.loads(done.stdout)
    jobs = [one["stage"] for one in found.get("would_run", found.get("ran"))]
    return now.ru_utime + now.ru_stime - used.ru_utime - used.ru_stime, jobs


def of_stages(config: Path) -> dict[str, Took]:
    """What the stages take that read tests of the whole archive, each run once in a process of its own."""
    root = config.parent / "results" / METHOD
    wanted = [root / name for name in ("rigs.json", "index.html", "comparisons/marram-0--marram-1/comparison.json")]
    words = _engine(config, "-n", "-p", "--force", *map(str, wanted))
    found: dict[str, Took] = {}
    for line, stage in re.findall(
        r"^Shell command: (?:exec )?(\S+ -P -m pipeline (?:--seen=\S+ )?(\w+) .*)$", words, re.MULTILINE
    ):
        if stage in STAGES and stage not in found:
            found[stage] = measured(shlex.split(line), config.parent)
            print(f"  {stage}: {found[stage][0]:.1f} s, {found[stage][1]:.0f} MB", flush=True)
    return found


@dataclasses.dataclass(frozen=True)
class Size:
    """An archive of so many tests. planned, standing: s of a run with nothing to do, with a plan and without; edited: s until
    all is planned that is certain to follow from one edited recording, with the number of stages of each name; whole: the same
    with a plan of the whole archive; run: s of the run itself with its stages, and their number; None where it was not run.
    """

    tests: int
    stages: dict[str, Took]
    planned: float
    standing: float
    edited: float
    whole: float
    follows: dict[str, int]
    run: tuple[float, dict[str, int]] | None = None


def measure(config: Path, tests: int, *, run: bool) -> Size:
    """run: whether the stages that follow from an edited recording are run, too."""
    _stopsheet("run", str(config))  # the archive's files are digested once
    (config.parent / "results" / ".standing.json").unlink(missing_ok=True)
    planned, none = _stopsheet("run", str(config))
    standing, nothing = _stopsheet("run", str(config))
    if none or nothing:
        raise RuntimeError(f"there was something to do: {none or nothing}")
    edited = sorted((config.parent / "archive" / "t-0000" / "recordings").iterdir())[-1]
    kept = edited.read_bytes()
    edited.unlink()
    edited.write_bytes(kept + b"\n")
    took, jobs = _stopsheet("run", str(config), "--dry-run")
    note = config.parent / "results" / ".standing.json"
    noted = note.read_bytes()
    note.unlink()
    whole, all_jobs = _stopsheet("run", str(config), "--dry-run")
    if jobs != all_jobs:
        raise RuntimeError(f"a plan of what differs is another than that of all: {set(jobs) ^ set(all_jobs)}")
    note.write_bytes(noted)
    ran = _stopsheet("run", str(config)) if run else None
    if ran is None:
        edited.write_bytes(kept)
    return Size(
        tests,
        of_stages(config),
        planned,
        standing,
        took,
        whole,
        counts(jobs),
        None if ran is None else (ran[0], counts(ran[1])),
    )


def counts(jobs: list[str]) -> dict[str, int]:
    return {stage: jobs.count(stage) for stage in dict.fromkeys(jobs)}


def listed(stages: dict[str, int]) -> str:
    return ", ".join(f"`{stage}` {count}" for stage, count in stages.items())


def exponent(sizes: list[Size], values: list[float]) -> float:
    """Of the power law through the first and the last of the sizes."""
    return math.log(values[-1] / values[0]) / math.log(sizes[-1].tests / sizes[0].tests)


def at_aim(sizes: list[Size], values: list[float]) -> float:
    """The straight line through the last two sizes at the number of tests aimed at, where it does not fall; there the value, where it was measured."""
    (a, b), (x, y) = values[-2:], (sizes[-2].tests, sizes[-1].tests)
    return b if y == AIMED else max(b, b + (b - a) / (y - x) * (AIMED - y))


def page(sizes: list[Size], files: int) -> str:
    head = " | ".join(f"{one.tests} tests" for one in sizes)
    reached = "measured" if sizes[-1].tests == AIMED else "by the straight line through the last two"
    rows = []
    for what, values in (
        ("nothing to do, with a plan of the engine", [one.planned for one in sizes]),
        ("nothing to do, by the files' states", [one.standing for one in sizes]),
        ("one test edited: until what differs is planned", [one.edited for one in sizes]),
        ("one test edited: until the whole archive is planned", [one.whole for one in sizes]),
    ):
        cells = " | ".join(f"{value:.1f}" for value in values)
        rows.append(f"| {what} | {cells} | {exponent(sizes, values):.2f} | {at_aim(sizes, values):.1f} |")
    grown = []
    for stage in sizes[-1].stages:
        seconds, peaks = zip(*(one.stages[stage] for one in sizes), strict=True)
        cells = " | ".join(f"{s:.1f} s, {mb:.0f} MB" for s, mb in zip(seconds, peaks, strict=True))
        aimed = f"{at_aim(sizes, list(seconds)):.0f} s, {at_aim(sizes, list(peaks)):.0f} MB"
        grown.append(f"| `{stage}` | {cells} | {exponent(sizes, list(seconds)):.2f} | {aimed} |")
    standing = at_aim(sizes, [one.standing for one in sizes])
    ran = next((one for one in sizes if one.run is not None), None)
    told = ""
    if ran is not None and ran.run is not None:
        told = (
            f"\n\nWith {ran.tests} tests that run was made: {ran.run[0]:.0f} CPU s with its stages, which were {listed(ran.run[1])}. What is not"
            " certain beforehand is there because what it takes of the whole archive had other bytes."
        )
    about = (__doc__ or "").split("\n\n", 2)[2].strip()
    rule = "---|" * (len(sizes) + 3)
    return f"""<!-- generated by `python -m tests.benchmarks.standing --write`; do not edit -->

# An archive of a thousand tests

{about}

Each test has {files} recordings. Wanted: nothing to do over {AIMED:,} tests in at most {MOST_S:.0f} s. Found at {AIMED:,} ({reached}): {standing:.1f} s.

| command, CPU s | {head} | exponent | at {AIMED:,} tests |
|{rule}
{chr(10).join(rows)}

From one edited recording follow for certain, in the largest of these archives: {listed(sizes[-1].follows)}. Findings and pages of other tests and other
compounds follow where what they take of the whole archive changes ([running](running.md)): findings of their rig, of a compound the scatter between states of the rigs over
all compounds, which any number of any test may move.{told}

| stage | {head} | exponent | at {AIMED:,} tests |
|{rule}
{chr(10).join(grown)}
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--tests", type=int, nargs="+", default=[100, 200, 400])
    parser.add_argument("--files", type=int, default=300)
    parser.add_argument("--room", type=Path, default=None, help="folder for the archives; default: a temporary one")
    parser.add_argument("--write", action="store_true", help=f"write docs/{PAGE.name}")
    options = parser.parse_args()
    sizes = []
    with tempfile.TemporaryDirectory(dir=options.room, prefix="standing-") as name:
        seeded = seed(Path(name) / "seed")
        for tests in sorted(options.tests):
            room = Path(name) / str(tests)
            made = archive(room, seeded, tests, options.files)
            sizes.append(measure(made, tests, run=not sizes))
            print(sizes[-1], flush=True)
            shutil.rmtree(room)
    if options.write:
        PAGE.write_text(page(sizes, options.files), encoding="utf-8")


if __name__ == "__main__":
    main()
