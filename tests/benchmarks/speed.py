"""How much slower than the library underneath, and what limits it: the table of speed, all ratios from one run.

    python -m tests.benchmarks.speed [--stops 255] [--repeats 3] [--before CHECKOUT] [--growth] [--samples] [--write]

Time is CPU time, user and system, of the work alone: libraries are loaded before it is counted, and other jobs on the machine only
add to it, so the least of the repeats stands. `--before` measures another checkout of this project beside this one, in turns.

What it is held against:

- the parse of the same text by polars (every file, types found by it), and a script in pandas and scipy that does the same method with
  the same kinds of checks (tests/benchmarks/by_pandas.py);
- for a change of method, the reading of the ingested channels, every column;
- for the starts, the CPU seconds of the samples' run (`--samples` runs it: minutes): what each job loads before it works, or, where a
  run forks its jobs from a process that has loaded it, that process and the forks.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

from tests.benchmarks import archives, raw
from tests.conftest import REPO, SAMPLES

AT_MOST = {"raw": 6.0, "method": 3.0, "starts": 30.0, "exponent": 1.1}
AIM = 4.0
TIMED = """
import json, os, sys, time
from pathlib import Path
os.environ["POLARS_MAX_THREADS"] = "2"
folder, room = Path(sys.argv[1]), Path(sys.argv[2])
channels, record = room / "channels" / "t1.parquet", room / "channels" / "t1.json"
into = room / "first" / "tests" / "t1"
into.mkdir(parents=True, exist_ok=True)
{load}
begun, real = time.process_time(), time.perf_counter()
{work}
print(json.dumps([time.process_time() - begun, time.perf_counter() - real]))
"""
PARTS = {
    "polars": (
        "import polars as pl\nfiles = sorted((folder / 'recordings').glob('*.csv'))\npl.read_csv(files[0])",
        "for path in files: pl.read_csv(path)",
    ),
    "channels": (
        "from pipeline.recordings import delimited\nfrom pipeline.recordings.stage import run\nimport pyarrow.csv, pyarrow.parquet, zstandard",
        "run(folder, channels, record)",
    ),
    "stops": (
        "from pipeline.method import Method, settings_of\nfrom pipeline.stops.stage import run\nimport pyarrow.parquet, scipy.optimize",
        "run(folder=folder, channels=channels, record=record, settings=settings_of(Method(), 'stops'), into=into)",
    ),
    "reading": (
        "import polars as pl, pyarrow.parquet as pq\n"
        "try: from pipeline.conditioning.channels_file import frames\n"
        "except ImportError: from pipeline.conditioning.stretches import frames  # where earlier checkouts have it",
        "with pq.ParquetFile(channels, memory_map=False) as file:\n    for part in frames(file): part.sum()",
    ),
    "pandas": (
        "from tests.benchmarks import by_pandas",
        "by_pandas.reduce_all(by_pandas.ingested(folder, room / 'pandas.parquet')).to_parquet(room / 'pandas.parquet')",
    ),
}
LIMITS = """What limits each now: `channels` is by a third Arrow's parse of the text on one core, by a sixth packing and digests; the rest is copies
and some two thousand calls a file, so files of few rows cost more by the byte. `stops` unpacks each column once and takes the file's
digest, a tenth of its time; a sixth goes to what a test costs whatever its length (schedule, search for wrong units, tables, models). The
rest is several hundred calls of numpy on the short series of each stop (a low-pass of torque and pressure for the lag and one for mu,
zero readings with their autocorrelation, splines under mu and torque, the search for faults): nearly half of the time is the
interpreter's own and much of the rest the way into a call, so it grows with stops and not with bytes, and a change of method runs all of
it. To come near the reading, stops would have to be reduced together and not one by one. A job that is forked costs the start of an
interpreter for its command, and the pages of memory that it comes to own."""
START = "import pipeline.cli, pipeline.cli.stages, pipeline.cli.guard, pipeline.cli.notes, pipeline.inputs.seen\n"


class Code(NamedTuple):
    """A checkout and what it is called in the table."""

    name: str
    place: Path


def environment(place: Path) -> dict[str, str]:
    threads = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    return os.environ | threads | {"PYTHONPATH": str(place), "PYTHONSAFEPATH": "1"}


def timed(part: str, place: Path, folder: Path, room: Path) -> float:
    """CPU seconds of one part's work by the code in `place`."""
    load, work = PARTS[part]
    script = TIMED.format(load=load, work=work)
    done = subprocess.run(
        [sys.executable, "-c", script, str(folder), str(room)],
        env=environment(place),
        capture_output=True,
        text=True,
        check=True,
    )
    return float(json.loads(done.stdout)[0])


def raw_text(codes: list[Code], stops: int, repeats: int) -> tuple[float, dict[str, dict[str, float]]]:
    """Megabytes of text, and by code the least CPU seconds of each part."""
    with tempfile.TemporaryDirectory(prefix="speed-") as name:
        folder = Path(name) / "archive" / "t1"
        size = raw.write_test(folder, stops)
        found: dict[str, dict[str, list[float]]] = {code.name: {part: [] for part in PARTS} for code in codes}
        for _ in range(repeats):
            for code in codes:
                for part, seen in found[code.name].items():
                    place = REPO if part in ("polars", "pandas") else code.place
                    seen.append(timed(part, place, folder, Path(name) / code.name))
                    print(code.name, part, f"{seen[-1]:.2f}", flush=True)
    return size / 1e6, {name: {part: min(seen) for part, seen in parts.items()} for name, parts in found.items()}


def cpu(command: list[str], place: Path) -> float:
    """CPU seconds of a command whole, its children that it waited for included."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, env=environment(place), check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


def starts(code: Code, repeats: int) -> dict[str, float]:
    """CPU seconds by stage from the interpreter's start to the stage's own code loaded."""
    script = """
from pipeline.stages import STAGES
for name, stage in STAGES.items():
    print(name, *dict.fromkeys(place.split(":")[0] for place in [*(p.call for p in stage.parts), stage.once] if place))
"""
    env = environment(code.place)
    said = subprocess.run([sys.executable, "-c", script], env=env, capture_output=True, text=True, check=True).stdout
    found = {}
    for line in said.splitlines():
        stage, *modules = line.split()
        command = [sys.executable, "-c", START + "\n".join(f"import {module}" for module in modules)]
        found[stage] = min(cpu(command, code.place) for _ in range(repeats))
    return found


def forked(code: Code, jobs: int) -> float | None:
    """CPU seconds of the starts of so many jobs of `compound` from a starter, its own start and end included; None where the
    code has no starter. A job ends at its wrong call, when all it needs is loaded."""
    if not (code.place / "pipeline" / "cli" / "starter.py").is_file():
        return None
    script = f"""
import os, subprocess, sys
from pathlib import Path
os.environ["STOPSHEET_ENGINE"] = str(os.getpid())
from pipeline.cli import starter
held = starter.begun(Path("speed"))
for _ in range({jobs}):
    subprocess.run([sys.executable, "-P", "-m", "pipeline", "compound", "--wrong"], stderr=subprocess.DEVNULL)
held.end()
"""
    return cpu([sys.executable, "-c", script], code.place)


def starts_of_run(code: Code, alone: dict[str, float], count: dict[str, int], repeats: int) -> dict[str, float]:
    """CPU seconds that all starts of a run of the samples take, and how many a forked job takes (NaN where none is)."""
    one, more = 1, 21
    few, many = ([forked(code, n) for _ in range(repeats)] for n in (one, more))
    if few[0] is None:
        return {"job": float("nan"), "all": sum(alone[stage] * count[stage] for stage in count if stage in alone)}
    job = (min(many) - min(few)) / (more - one)
    return {"job": job, "all": max(alone.values()) + min(few) + job * sum(count.values())}


def jobs() -> dict[str, int]:
    """Jobs of each stage in a run of the samples."""
    from pipeline.stages import STAGES
    from pipeline.workspace.run import load_run

    run = load_run(SAMPLES / "config.yaml")
    methods, tests, compounds = len(run.methods), len(run.tests), len(run.compounds)
    count = {
        "recordings": tests,
        "test": tests * methods,
        "compound": compounds * methods,
        "rig": len(run.rig_pages) * methods,
        "method": methods,
        "comparison": max(methods - 1, 0),
        "pair": compounds * (compounds - 1) // 2 * methods,
    }
    return {name: count[stage.level] for name, stage in STAGES.items()}


def whole_run(code: Code) -> float:
    """CPU seconds of a run of the samples from nothing, engine and stages."""
    with tempfile.TemporaryDirectory(prefix="speed-samples-") as name:
        place = Path(name)
        for entry in SAMPLES.iterdir():
            if entry.name != "results":
                (place / entry.name).symlink_to(entry)
        config = place / "config.yaml"
        config.unlink()
        config.write_text((SAMPLES / "config.yaml").read_text(encoding="utf-8"), encoding="utf-8")
        return cpu([sys.executable, "-m", "pipeline", "run", str(config)], code.place)


def table(rows: list[list[str]], head: list[str]) -> list[str]:
    return ["| " + " | ".join(head) + " |", "|" + "---|" * len(head), *("| " + " | ".join(row) + " |" for row in rows)]


def page(measured: dict, codes: list[Code]) -> str:
    """All that was measured as a page of the documentation."""
    names = [code.name for code in codes]
    text = [
        "<!-- generated by `python -m tests.benchmarks.speed --write`; do not edit -->",
        "# Speed",
        "",
        *(__doc__ or "").strip().split("\n\n", 2)[2].splitlines(),
        "",
        f"## From raw text to stops: {measured['megabytes']:.0f} MB, {measured['stops']} stops of {raw.ROWS:,} rows and {len(raw.CHANNELS)} columns",
        "",
    ]
    parts = measured["raw"]
    words = {
        "polars": "polars' parse of the text",
        "channels": "`channels`: text to the kept table, every value checked",
        "stops": "`stops`: table to `stops.parquet`",
        "pandas": "the script in pandas and scipy, text to its table",
        "reading": "the kept table read, every column",
    }
    text += table(
        [[words[part], *(f"{parts[name][part]:.2f} s" for name in names)] for part in words], ["CPU time of", *names]
    )
    ratio = {name: (p["channels"] + p["stops"]) / p["polars"] for name, p in parts.items()}
    change = {name: p["stops"] / p["reading"] for name, p in parts.items()}
    against = {name: (p["channels"] + p["stops"]) / p["pandas"] for name, p in parts.items()}
    text += ["", "## Held against what was wanted", ""]
    rows = [
        [
            "raw text to stops over polars' parse",
            *(f"{ratio[n]:.1f}" for n in names),
            f"at most {AT_MOST['raw']:.0f}, aim {AIM:.0f}",
        ],
        ["the same over the script in pandas and scipy", *(f"{against[n]:.2f}" for n in names), "none stated"],
        [
            "a change of method over reading the channels",
            *(f"{change[n]:.1f}" for n in names),
            f"at most {AT_MOST['method']:.0f}",
        ],
    ]
    count, start = measured["jobs"], measured["starts"]
    spent = {n: measured["starts_of_run"][n]["all"] for n in names}
    job = {n: measured["starts_of_run"][n]["job"] for n in names}
    each = [f"{1e3 * job[n]:.0f} ms" if job[n] == job[n] else "by stage, below" for n in names]
    rows.append(["start of a job in a run", *each, ""])
    rows.append(
        [
            f"starts of the samples' {sum(count.values())} jobs, CPU s",
            *(f"{spent[n]:.0f}" for n in names),
            "at most 30 % of the run's",
        ]
    )
    if measured.get("samples"):
        share = {n: 100 * spent[n] / measured["samples"][n] for n in names}
        rows.append(
            [
                "their share of the samples' CPU time",
                *(f"{share[n]:.0f} % of {measured['samples'][n]:.0f} s" for n in names),
                "at most 30 %",
            ]
        )
    for what, grown in (measured.get("growth") or {}).items():
        worst = max(grown["exponent"].items(), key=lambda one: one[1])
        blank = [""] * (len(names) - 1)
        rows.append(
            [
                f"growth in {what}, the steepest stage (`{worst[0]}`)",
                *blank,
                f"exponent {worst[1]:.2f}",
                f"at most {AT_MOST['exponent']}",
            ]
        )
    text += table(rows, ["", *names, "wanted"])
    text += ["", LIMITS, "", "## What a stage loads before it works where it starts by itself, CPU s", ""]
    text += table(
        [
            [f"`{stage}`", str(count[stage]), *(f"{start[n].get(stage, float('nan')):.2f}" for n in names)]
            for stage in count
        ],
        ["stage", "jobs in the samples", *names],
    )
    for what, grown in (measured.get("growth") or {}).items():
        text += ["", f"## Growth in {what}", "", archives.ABOUT, ""]
        sizes = grown["sizes"]
        text += table(
            [
                [
                    f"`{stage}`",
                    *(f"{grown['seconds'][str(n)][stage]:.2f} s" for n in sizes),
                    f"{grown['exponent'][stage]:.2f}",
                ]
                for stage in grown["exponent"]
            ],
            ["stage", *(f"{n} {what}" for n in sizes), "exponent"],
        )
    return "\n".join(text) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--stops", type=int, default=raw.STOPS)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--before", type=Path, default=None, help="another checkout of this project to measure as well")
    parser.add_argument("--growth", action="store_true", help="also stages over growing archives")
    parser.add_argument("--samples", action="store_true", help="also the samples from nothing (minutes)")
    parser.add_argument("--write", action="store_true", help="write docs/speed_benchmark.md")
    options = parser.parse_args()
    codes = [*([Code("before", options.before.resolve())] if options.before else []), Code("now", REPO)]
    megabytes, parts = raw_text(codes, options.stops, options.repeats)
    count = jobs()
    alone = {code.name: starts(code, options.repeats) for code in codes}
    measured = {
        "megabytes": megabytes,
        "stops": options.stops,
        "raw": parts,
        "jobs": count,
        "starts": alone,
        "starts_of_run": {code.name: starts_of_run(code, alone[code.name], count, options.repeats) for code in codes},
        "samples": {code.name: whole_run(code) for code in codes} if options.samples else None,
        "growth": archives.growth() if options.growth else None,
    }
    text = page(measured, codes)
    print(text)
    if options.write:
        (REPO / "docs" / "speed_benchmark.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
