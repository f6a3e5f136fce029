"""Whole archives from raw text to their index, and one test of two gigabytes.

    python -m tests.benchmarks.raw_to_index [--tests 10 20] [--gigabytes 2] [--room FOLDER] [--write]

Each test of an archive is a simulation of its own: 60 stops at 50 Hz as delimited text, two readings of wear. Ten tests are a compound of
two batches, and four rigs share them. `stopsheet run` makes everything from nothing on two cores; processor time is that of the
command with all its jobs. What a stage took is told by the clock of its jobs, which counts other work of the machine, too: of these
seconds the shares matter.

The large test is one of tests/benchmarks/raw.py with as many stops as make its text so large; each stage that goes through its samples
runs in a process of its own, and memory is the highest resident size that the kernel saw.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import math
import os
import resource
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

import yaml

from pipeline.wording import counted
from rig_samples.simulator import MARRAM_4, Identity, Rig, Style, simulate, write_test
from tests.benchmarks import raw
from tests.benchmarks.growth import measured
from tests.conftest import REPO
from tests.hostile.base import PROGRAM

OF_A_COMPOUND, OF_A_BATCH, RIGS, EACH = 10, 5, 4, 12
AIMED, CORES, MOST_MB, UNUSABLE = 1000, 2, 1500, 3
PAGE = REPO / "docs" / "raw_to_index_benchmark.md"
STAGE = {
    "channels": "from pipeline.recordings.stage import run\nrun(folder, channels, record)",
    "stops": (
        "from pipeline.method import Method, settings_of\nfrom pipeline.stops.stage import run\n"
        "run(folder=folder, channels=channels, record=record, settings=settings_of(Method(), 'stops'), into=into)"
    ),
}
SCRIPT = """
import sys
from pathlib import Path
room = Path(sys.argv[1])
folder, channels, record, into = room / "t1", room / "channels" / "t1.parquet", room / "channels" / "t1.json", room / "plain" / "tests" / "t1"
into.mkdir(parents=True, exist_ok=True)
channels.parent.mkdir(exist_ok=True)
"""


@dataclasses.dataclass(frozen=True)
class Whole:
    """A run of an archive of so many tests from nothing: processor seconds of the command, megabytes of text, jobs and seconds of each
    stage."""

    tests: int
    megabytes: float
    cpu: float
    jobs: dict[str, int]
    seconds: dict[str, float]


def archive(room: Path, tests: int) -> tuple[Path, float]:
    """A workspace of so many tests; its config's path and the megabytes of its recordings."""
    program = [dataclasses.replace(block, stops=EACH) for block in PROGRAM]
    for number in range(tests):
        folder, place = room / "archive" / f"t-{number:04d}", number % OF_A_COMPOUND
        samples = simulate(program, MARRAM_4, seed=1000 + number, rig=Rig(sample_rate=50.0))
        who = Identity(
            f"Marram {number // OF_A_COMPOUND}",
            f"B-{place // OF_A_BATCH}",
            f"S-{place}",
            f"2026-{1 + number % 12:02d}-{1 + number % 28:02d}",
            rig=f"rig-{number % RIGS}",
        )
        write_test(folder, samples, who, Style(compress=False))
    (room / "plain.yaml").write_text("")
    config = room / "config.yaml"
    config.write_text(yaml.safe_dump({"archive": "archive", "results": "results", "methods": ["plain.yaml"]}))
    return config, sum(path.stat().st_size for path in room.glob("archive/*/recordings/*")) / 1e6


def run(config: Path, tests: int, megabytes: float) -> Whole:
    """The run of a workspace that has no results yet. Raises RuntimeError where a stage failed."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [sys.executable, "-m", "pipeline", "run", str(config), "--cores", str(CORES), "--json"]
    done = subprocess.run(
        command, env=os.environ | {"PYTHONPATH": str(REPO)}, capture_output=True, text=True, check=False
    )
    if done.returncode not in (0, UNUSABLE):
        raise RuntimeError(f"the run of {tests} tests ended with {done.returncode}: {done.stderr[-2000:]}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    jobs, seconds = Counter[str](), Counter[str]()
    for one in json.loads(done.stdout)["ran"]:
        jobs[one["stage"]] += 1
        seconds[one["stage"]] += one["seconds"]
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Whole(tests, megabytes, cpu, dict(jobs), dict(seconds))


def large(room: Path, gigabytes: float) -> tuple[float, int, dict[str, tuple[float, float]]]:
    """One test with about so many gigabytes of text: their true number, its stops, and by stage processor seconds and megabytes."""
    with tempfile.TemporaryDirectory(dir=room, prefix="one-") as name:
        size = raw.write_test(Path(name) / "one", 1)
    stops = max(round(gigabytes * 1e9 / size), 1)
    true = raw.write_test(room / "t1", stops) / 1e9
    return (
        true,
        stops,
        {stage: measured([sys.executable, "-c", SCRIPT + work, str(room)], room) for stage, work in STAGE.items()},
    )


def exponent(sizes: list[Whole], values: list[float]) -> float:
    """Of the power law through the first and the last of the sizes."""
    return math.log(values[-1] / values[0]) / math.log(sizes[-1].tests / sizes[0].tests)


def at_aim(sizes: list[Whole], values: list[float]) -> float:
    """The straight line through the last two sizes at the number of tests aimed at."""
    (a, b), (x, y) = values[-2:], (sizes[-2].tests, sizes[-1].tests)
    return b + (b - a) / (y - x) * (AIMED - y)


def page(sizes: list[Whole], size: float, stops: int, stages: dict[str, tuple[float, float]]) -> str:
    last = sizes[-1]
    rule, head = (
        "---|" * (len(sizes) + 3),
        " | ".join(f"{counted(one.tests, 'test')}, {one.megabytes:.1f} MB" for one in sizes),
    )
    rows = []
    cpu = [one.cpu for one in sizes]
    cells = " | ".join(f"{value:.0f} s" for value in cpu)
    rows.append(f"| processor time | {cells} | {exponent(sizes, cpu):.2f} | {at_aim(sizes, cpu) / 3600:.1f} h |")
    total, grown = sum(last.seconds.values()), []
    for stage, seconds in sorted(last.seconds.items(), key=lambda one: -one[1]):
        cells = " | ".join(f"{one.jobs.get(stage, 0)}: {one.seconds.get(stage, 0.0):.0f} s" for one in sizes)
        grown.append(f"| `{stage}` | {cells} | {100 * seconds / total:.0f} % |")
    dear = sorted(last.seconds.items(), key=lambda one: -one[1])[:3]
    limits = ", ".join(f"`{stage}` ({100 * seconds / total:.0f} %)" for stage, seconds in dear)
    memory = "\n".join(f"| `{stage}` | {cpu:.0f} s | {peak:.0f} MB |" for stage, (cpu, peak) in stages.items())
    about = (__doc__ or "").split("\n\n", 2)[2].strip()
    return f"""<!-- generated by `python -m tests.benchmarks.raw_to_index --write`; do not edit -->

# From raw text to the index

{about}

At {AIMED:,} tests of {EACH * len(PROGRAM)} stops, by the straight line through the last two sizes: {at_aim(sizes, cpu) / 3600:.1f} hours of processor time.
What limits it: the three stages that take most are {limits}. A cluster takes jobs of tests and compounds side by side
([running](running.md)).

| the run | {head} | exponent | at {AIMED:,} tests |
|{rule}
{chr(10).join(rows)}

Jobs of each stage and their seconds:

| stage | {head} | share of the last |
|{"---|" * (len(sizes) + 2)}
{chr(10).join(grown)}

## One test of {size:.2f} GB

{stops:,} stops of {raw.ROWS:,} rows and {len(raw.CHANNELS)} columns of text. Wanted: at most {MOST_MB:,} MB. Highest: {max(peak for _, peak in stages.values()):.0f} MB.

| stage | processor time | memory |
|---|---|---|
{memory}
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--tests", type=int, nargs="+", default=[10, 20], help="sizes of the archives, two or more")
    parser.add_argument("--gigabytes", type=float, default=2.0)
    parser.add_argument("--room", type=Path, default=None, help="folder for the archives; default: a temporary one")
    parser.add_argument("--write", action="store_true", help=f"write docs/{PAGE.name}")
    options = parser.parse_args()
    if len(set(options.tests)) < 2 or min(options.tests) < 1:
        parser.error("--tests: at least two sizes of at least one test")
    sizes = []
    with tempfile.TemporaryDirectory(dir=options.room, prefix="raw-to-index-") as name:
        room = Path(name)
        for tests in sorted(set(options.tests)):
            config, megabytes = archive(room / str(tests), tests)
            sizes.append(run(config, tests, megabytes))
            print(sizes[-1], flush=True)
        (room / "large").mkdir()
        text = page(sizes, *large(room / "large", options.gigabytes))
    print(text)
    if options.write:
        PAGE.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
