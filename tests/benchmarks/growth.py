"""Time and memory of every stage as a test grows: 600, 2,400 and 9,600 stops.

    python -m tests.benchmarks.growth [--stops 600 2400 9600] [--room FOLDER] [--write]

Writes an invented archive of one test for each size (the same round of 600 stops over and over, a file each), asks
Snakemake for the commands of its stages, and runs each in a process of its own. Time is processor time, user and
system, which other work on the machine moves least; memory is the highest resident size that the kernel saw.
"""

from __future__ import annotations

import argparse
import itertools
import json
import os
import re
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import polars as pl
import yaml

REPO = Path(__file__).parents[2]
RATE = 50.0
CYCLE_S = 40.0
INERTIA = 26.0
TORQUE_PER_BAR = 18.0 / 0.4  # at a friction coefficient of 1
MOST_RATIO, MOST_STOPS_MB = 4.4, 600

Row = tuple[str, str, int, tuple[float, float], float, float]


def programme(rounds: int) -> list[Row]:
    """Blocks (name, purpose, stops, rpm from and to, bar, degC): rounds of 600 stops, the first with a bed-in."""
    blocks: list[Row] = []
    for number in range(1, rounds + 1):
        first: Row = (f"check {number} a", "check", 20, (1450, 850), 25, 300)
        blocks.append(("bed-in", "bedding", 20, (1600, 800), 30, 230) if number == 1 else first)
        for celsius in (100, 200, 300, 400, 500):
            for bar in (20, 40, 60):
                blocks.append((f"map {number} {celsius} {bar}", "map", 16, (1500, 900), bar, celsius))
        for part in ("b", "c", "d", "e"):
            blocks.append((f"duty {number} {part}", "duty", 65, (1700, 900), 45, 350))
            blocks.append((f"check {number} {part}", "check", 20, (1450, 850), 25, 300))
    blocks.append((f"check {rounds + 1}", "check", 20, (1450, 850), 25, 300))
    return blocks


def braking(number: int, speed: tuple[float, float], bar: float, celsius: float) -> pl.DataFrame:
    """One snub at `RATE`, in the file's units; friction depends a little on temperature and pressure."""
    rng = np.random.default_rng(number)
    mu = 0.42 - 0.08 * ((celsius - 320) / 300) ** 2 - 0.0004 * (bar - 40) + 0.004 * rng.standard_normal()
    torque = mu * TORQUE_PER_BAR * (bar - 0.4)
    lasts = INERTIA * (speed[0] - speed[1]) * np.pi / 30 / torque
    time = np.arange(0, 1.0 + lasts + 1.5, 1 / RATE)
    level = bar * np.clip((time - 1.0) / 0.15, 0, 1) * (time < 1.0 + lasts)
    pull = mu * TORQUE_PER_BAR * np.clip(level - 0.4, 0, None)
    lost = np.cumsum(pull) / RATE / INERTIA * 30 / np.pi
    warm = celsius + 6 * rng.standard_normal() + 30.0 * np.clip((time - 1.0) / lasts, 0, 1)
    return pl.DataFrame(
        {
            "t": number * CYCLE_S + time,
            "n": speed[0] - lost + 0.2 * rng.standard_normal(time.size),
            "Mb": pull + 5.0 + 2.0 * rng.standard_normal(time.size),
            "p": level + 0.02 * rng.standard_normal(time.size),
            "T1": warm + 0.3 * rng.standard_normal(time.size),
        }
    )


def wear_readings(blocks: list[Row]) -> str:
    """Thickness of disc and pads before the first stop and after every duty block, four points each."""
    rng = np.random.default_rng(1)
    lines, done = ["after_stop,component,quantity,point,value,unit,state"], 0
    left = {"disc": 28.0, "pad_inner": 25.0, "pad_outer": 25.0}
    for _, purpose, count, *_ in [("", "duty", 0), *blocks]:
        done += count
        for part in left:
            left[part] -= count * (0.6e-4 if part == "disc" else 1.5e-4) * (1.5 if purpose == "duty" else 1.0)
        if purpose == "duty":
            lines += [
                f"{done},{part},thickness,{point},{thickness + 0.001 * rng.standard_normal():.4f},mm,dry"
                for part, thickness in left.items()
                for point in (1, 2, 3, 4)
            ]
    return "\n".join(lines) + "\n"


def write_workspace(room: Path, stops: int) -> Path:
    """An archive of one test of so many stops (a multiple of 600, and a last check); its config's path."""
    folder = room / "archive" / f"long-{stops}"
    (folder / "recordings").mkdir(parents=True)
    blocks = programme(stops // 600)
    number = 0
    for _, _, count, speed, bar, celsius in blocks:
        for _ in range(count):
            number += 1
            braking(number, speed, bar, celsius).write_parquet(folder / "recordings" / f"{number:05d}.parquet")
    units = {"time": ("t", "s"), "speed": ("n", "rpm"), "torque": ("Mb", "N m"), "pressure": ("p", "bar"),
             "disc_temperature": ("T1", "degC")}  # fmt: skip
    card = {
        "schema": 1, "compound": "Marram 4", "batch": "M4-2406", "specimen": "A", "date": "2026-03-02", "rig": "north",
        "brake": {
            "friction_ring": {"outer_diameter": "312 mm", "inner_diameter": "220 mm"}, "effective_radius": "134 mm",
            "pistons_per_side": ["30 mm", "34 mm", "38 mm"], "pad_area": "52 cm^2", "threshold_pressure": "0.4 bar",
            "disc": {"mass": "1.77 kg", "thickness": "28 mm", "minimum_thickness": "24 mm", "density": "1.78 g/cm^3",
                     "heat_capacity": "carbon", "conductivity": "30 W/(m K)", "heat_share": "100 %", "emissivity": 0.85, "cooled_area": "950 cm^2"},
            "pad": {"mass": "0.21 kg", "thickness": "25 mm", "minimum_thickness": "11 mm", "density": "1.78 g/cm^3"},
        },
        "inertia": f"{INERTIA} kg m^2",
        "recordings": {"files": "recordings/*.parquet", "format": "parquet", "holds": "stop",
                       "channels": {name: {"column": c, "unit": u} for name, (c, u) in units.items()}},
        "wear": "wear.csv",
        "blocks": [{"name": name, "purpose": purpose, "kind": "snub", "stops": count, "speed": [f"{v} rpm" for v in speed],
                    "pressure": f"{bar} bar", "initial_temperature": f"{celsius} degC"}
                   for name, purpose, count, speed, bar, celsius in blocks],
    }  # fmt: skip
    (folder / "test.yaml").write_text(yaml.safe_dump(card))
    (folder / "wear.csv").write_text(wear_readings(blocks))
    (room / "plain.yaml").write_text("")
    config = room / "config.yaml"
    config.write_text("archive: archive\nresults: results\nmethods: [plain.yaml]\n")
    return config


def commands(config: Path) -> list[tuple[str, list[str]]]:
    """(stage, its command) in the order that Snakemake would run them."""
    done = subprocess.run(
        [sys.executable, "-P", "-m", "snakemake", "-s", str(REPO / "Snakefile"), "--directory", str(config.parent / "results"),
         "--configfile", str(config), "--cores", "1", "--workflow-profile", "none", "-n", "-p"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    found = re.findall(
        r"^Shell command: (?:exec )?(\S+ -P -m pipeline (?:--seen=\S+ )?(\w+) .*)$",
        done.stdout + done.stderr,
        re.MULTILINE,
    )
    if not found:
        raise RuntimeError(f"no stage in what Snakemake says:\n{done.stdout}{done.stderr}")
    return [(stage, shlex.split(line)) for line, stage in found]


def measured(command: list[str], room: Path) -> tuple[float, float]:
    """Processor seconds and peak resident memory (MB) of a command and its children."""
    environment = os.environ | {"PYTHONPATH": str(REPO), "POLARS_MAX_THREADS": "2"}
    process = subprocess.Popen(command, env=environment, cwd=room)
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise RuntimeError(f"{' '.join(command[:5])} ended with {process.returncode}")
    return used.ru_utime + used.ru_stime, used.ru_maxrss * 1024 / 1e6


def run(room: Path, sizes: list[int]) -> dict[int, dict[str, dict[str, float]]]:
    """By size and stage: seconds and peak_mb."""
    result: dict[int, dict[str, dict[str, float]]] = {}
    for stops in sizes:
        place = room / str(stops)
        config = write_workspace(place, stops)
        result[stops] = {}
        for stage, command in commands(config):
            seconds, peak = measured(command, place)
            result[stops][stage] = {"seconds": round(seconds, 2), "peak_mb": round(peak)}
            print(stops, stage, result[stops][stage], flush=True)
        faults = sorted(place.rglob("*.fault.txt"))
        if faults:
            raise RuntimeError(f"a stage failed: {faults[0].read_text()}")
    return result


def ratios(result: dict[int, dict[str, dict[str, float]]]) -> dict[str, list[float]]:
    """By stage: seconds of each size over those of the size before."""
    sizes = sorted(result)
    return {
        stage: [
            result[more][stage]["seconds"] / result[less][stage]["seconds"] for less, more in itertools.pairwise(sizes)
        ]
        for stage in result[sizes[0]]
    }


def page(result: dict[int, dict[str, dict[str, float]]]) -> str:
    """The measurement as a page of the documentation."""
    sizes, grown = sorted(result), ratios(result)
    head = [f"{n} stops" for n in sizes] + [f"{b} / {a}" for a, b in itertools.pairwise(sizes)]
    rows = []
    for stage in result[sizes[0]]:
        cells = [f"{result[n][stage]['seconds']:.1f} s, {result[n][stage]['peak_mb']:.0f} MB" for n in sizes]
        rows.append("| " + " | ".join([f"`{stage}`", *cells, *(f"{ratio:.1f}" for ratio in grown[stage])]) + " |")
    worst = max((ratio, stage) for stage, several in grown.items() for ratio in several)
    peak = result[sizes[-1]]["stops"]["peak_mb"]
    return f"""# Growth

Time and memory of each stage of one test, as its number of stops grows fourfold (`python -m tests.benchmarks.growth
--write`). The test repeats a round of 600 stops at {RATE:.0f} Hz, one file a stop. Each stage runs in a process of its own; time is
processor time with the start of Python, memory the highest resident size that the kernel saw.

Aims: four times the stops take at most {MOST_RATIO} times the time, and `stops` at most {MOST_STOPS_MB} MB at {sizes[-1]}. Found: at most
{worst[0]:.1f} times (`{worst[1]}`), and {peak:.0f} MB.

| stage | {" | ".join(head)} |
|{"---|" * (len(head) + 1)}
{chr(10).join(rows)}
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--stops", type=int, nargs="+", default=[600, 2400, 9600], help="sizes, multiples of 600")
    parser.add_argument("--room", type=Path, default=None, help="folder for the archives; default: a temporary one")
    parser.add_argument("--write", action="store_true", help="write docs/growth_benchmark.md")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=options.room, prefix="growth-") as room:
        result = run(Path(room), sorted(options.stops))
    print(json.dumps(ratios(result), indent=1))
    if options.write:
        (REPO / "docs" / "growth_benchmark.md").write_text(page(result), encoding="utf-8")


if __name__ == "__main__":
    main()
