"""Stages that look at many tests, as an archive grows: in tests of one compound, in batches, in compounds.

One simulated test goes through its stages once; its results stand under the names of many, so that only what looks at them all is
run. `python -m tests.benchmarks.speed --growth` prints the exponents.
"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

import numpy as np
import polars as pl
import yaml

from tests.benchmarks.growth import commands, measured
from tests.studies import small_runs

ABOUT = (
    "CPU seconds of each stage that looks at several tests, its start included, and the exponent between smallest and largest\n"
    "archive. Of a stage that works compound by compound or test by test the seconds are those of all its jobs. The tests are one\n"
    "simulated test of eleven stops under other names, batches or compounds, its figures scattered by a percent."
)
OF_A_TEST = ("channels", "stops", "friction", "wear", "drift", "findings", "test_page")
SCATTERED = (
    "duration_s",
    "mu",
    "torque_nm",
    "energy_kj",
    "mu_time",
    "mu_distance",
    "mu_energy",
    "mu_start",
    "mu_end",
    "mu_bite",
)
SIZES = {"tests": (4, 8, 16), "batches": (4, 8, 16), "compounds": (2, 4, 8)}


def named(card: dict, what: str, number: int) -> dict:
    """The card of copy `number`: a further specimen, a batch or a compound."""
    changed = {"specimen": f"{number}", "date": f"2026-03-{1 + number % 28:02d}"}
    if what == "batches":
        changed |= {"batch": f"M4-{number:04d}"}
    if what == "compounds":
        changed |= {"compound": f"Marram {number + 10}", "batch": f"M{number + 10}-1"}
    return card | changed


def scattered(stops: pl.DataFrame, number: int) -> pl.DataFrame:
    """The stops of a further specimen: what was measured differs by a percent, or a test that is another's copy would not count."""
    chance = np.random.default_rng(number)

    def off(name: str) -> pl.Series:
        return stops[name] * (1 + 0.01 * pl.Series(chance.standard_normal(stops.height)))

    return stops.with_columns(off(name).alias(name) for name in SCATTERED)


def grown(place: Path, seed: Path, what: str, count: int) -> Path:
    """A workspace of so many copies of the one test in `seed`, with the results of their own stages; its config."""
    source, done = seed / "archive" / "t-1", seed / "results"
    card = yaml.safe_load((source / "test.yaml").read_text(encoding="utf-8"))
    for number in range(1, count + 1):
        name = f"c-{number}"
        shutil.copytree(source, place / "archive" / name)
        (place / "archive" / name / "test.yaml").write_text(yaml.safe_dump(named(card, what, number)), encoding="utf-8")
        own = [*(done / "channels").glob("t-1.*"), *(done / "plain" / "tests" / "t-1").iterdir()]
        for path in filter(Path.is_file, own):
            target = place / "results" / path.parent.relative_to(done) / path.name
            target = Path(str(target).replace("/t-1", f"/{name}"))
            target.parent.mkdir(parents=True, exist_ok=True)
            if path.suffix == ".json":
                target.write_text(path.read_text(encoding="utf-8").replace('"t-1"', f'"{name}"'), encoding="utf-8")
            elif path.name == "stops.parquet":
                scattered(pl.read_parquet(path), number).write_parquet(target)
            else:
                shutil.copyfile(path, target)
    shutil.copytree(seed / "methods", place / "methods")
    config = place / "config.yaml"
    config.write_text((seed / "config.yaml").read_text(encoding="utf-8"), encoding="utf-8")
    return config


def growth(sizes: dict[str, tuple[int, ...]] = SIZES) -> dict[str, dict]:
    """By what grows: sizes, seconds by size and stage, exponent by stage."""
    found = {}
    with tempfile.TemporaryDirectory(prefix="archives-") as name:
        room = Path(name)
        (room / "seed").mkdir()
        config = small_runs.workspace(room / "seed", 1)
        code, said = small_runs.run(config)
        if code:
            raise RuntimeError(f"the seed's run ended with {code}: {said}")
        for what, several in sizes.items():
            seconds: dict[str, dict[str, float]] = {}
            for count in several:
                place = room / f"{what}-{count}"
                spent: dict[str, float] = {}
                for stage, command in commands(grown(place, room / "seed", what, count)):
                    if stage not in OF_A_TEST:
                        spent[stage] = spent.get(stage, 0.0) + measured(command, place)[0]
                faults = sorted(place.rglob("*.fault.txt"))
                if faults:
                    raise RuntimeError(f"a stage failed: {faults[0].read_text()}")
                seconds[str(count)] = spent
                print(what, count, {stage: round(cpu, 2) for stage, cpu in spent.items()}, flush=True)
                shutil.rmtree(place)
            few, many = str(several[0]), str(several[-1])
            ratio = np.log(several[-1] / several[0])
            stages = [stage for stage in seconds[few] if stage in seconds[many]]
            exponent = {s: float(np.log(seconds[many][s] / seconds[few][s]) / ratio) for s in stages}
            found[what] = {"sizes": list(several), "seconds": seconds, "exponent": exponent}
            steepest = max(exponent.items(), key=lambda one: one[1])
            print(what, "steepest", steepest, flush=True)
    return found
