"""Drift verdicts over tests of the rig's simulator: its own physics of heat, glaze and moisture, not the study's.

    python -m tests.studies.drift_through_files [--tests 3] [--level files | stops] [--seed 1] [--write]

At level `files` each test is written as raw recordings and goes through channels, stops, repeatability and drift, as a
user's would; at level `stops` the simulator's own stop rows are judged. With --write the figures go to
docs/drift_files_study.md.
"""

import argparse
import tempfile
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.drift import repeatability
from pipeline.drift import stage as drift
from pipeline.method import Method, settings_of
from pipeline.recordings import stage as channels
from pipeline.results import write_json, write_parquet
from pipeline.results.drift import TestDrift
from pipeline.results.model import read
from pipeline.stops import stage as stops
from pipeline.vocabulary import STOPS, conform, empty
from rig_samples.scenario import specimen
from rig_samples.simulator.brake import Rig
from rig_samples.simulator.material import MARRAM_4, Material
from rig_samples.simulator.program import Block, characterisation, glazing
from rig_samples.simulator.run import simulate
from rig_samples.simulator.sensors import Change, Sensors
from rig_samples.simulator.stop_level import simulate_stops
from rig_samples.simulator.writer import write_test

VERDICTS = ("none", "glazing-like", "fade", "bedding-in", "sensor", "moisture", "undetermined")
REDUCE = settings_of(Method(), "stops")
JUDGE = settings_of(Method(), "drift")


class Case(NamedTuple):
    """A cause: what is simulated and the verdicts that are right."""

    program: list[Block]
    material: Material
    right: tuple[str, ...]
    sensors: Sensors | None = None
    lasting: dict[int, float] | None = None
    first_stop: int | None = None


def no_glaze(material: Material = MARRAM_4) -> Material:
    return material.varied(glaze_loss=0.0)


def cases(rng: np.random.Generator) -> dict[str, Case]:
    """One case of each cause, its place and size drawn at random."""
    long, short = glazing(), characterisation()
    begins = sum(b.stops for b in long[: next(i for i, b in enumerate(long) if b.purpose == "duty")]) + 1
    place, size = int(rng.integers(100, 200)), float(rng.uniform(0.05, 0.10))
    clean = no_glaze()

    def sensors(**change: Change) -> Sensors:
        return replace(Sensors(), **change)  # type: ignore[arg-type]

    return {
        "healthy, usual program": Case(short, MARRAM_4, ("none",)),
        "healthy, long low-energy program": Case(long, clean, ("none",)),
        "glazing, as in the samples": Case(long, MARRAM_4, ("glazing-like",), first_stop=begins),
        "glazing, half the loss": Case(long, MARRAM_4.varied(glaze_loss=0.13), ("glazing-like",), first_stop=begins),
        "glazing, not cleared": Case(long, MARRAM_4.varied(glaze_removal=0.0), ("undetermined",), first_stop=begins),
        "torque gain step": Case(
            long, clean, ("sensor",), sensors(torque_gain_change=Change(place, step=-size)), first_stop=place
        ),
        "torque gain drift": Case(long, clean, ("sensor",), sensors(torque_gain_change=Change(60, per_stop=-size / 180))),
        "pressure recorder drift": Case(
            long, clean, ("sensor",), sensors(pressure_gain_change=Change(60, per_stop=size / 150))
        ),
        "pressure offset drift, taken off by the zero": Case(
            long, clean, ("none", "sensor"), sensors(pressure_offset_change=Change(60, per_stop=0.01))
        ),
        "lasting loss from a stop on": Case(
            long, clean, ("undetermined",), lasting={place: 1 - size}, first_stop=place
        ),
        "bedding unfinished": Case(
            [b.with_stops(10) if b.purpose == "bedding" else b for b in long], clean.varied(bedding_mj_m2=60.0), ("bedding-in", "none")
        ),
    }  # fmt: skip


class Judged(NamedTuple):
    """A test's drift.json with what was true: first affected stop and share lost at the last checks before hard use."""

    cause: str
    answer: TestDrift
    right: tuple[str, ...]
    first_stop: int | None
    loss: float | None


def judged(named: dict[str, Case], level: str, seed: int, root: Path) -> list[Judged]:
    """Judge each case, the scatter pooled over all of them as tests of one compound."""
    results = root / "results" / "default"
    losses = {}
    for number, (name, case) in enumerate(named.items()):
        into = results / "tests" / slug(name)
        rig = Rig(scatter=float(np.random.default_rng([seed, number]).uniform(0.013, 0.022)))
        made = {"seed": 1000 * seed + number, "sensors": case.sensors, "lasting": case.lasting, "rig": rig}
        if level == "stops":
            test = simulate_stops(case.program, case.material, **made)
            write_parquet(into / "stops.parquet", conform(test.stops, STOPS))
            write_parquet(into / "excluded.parquet", empty(STOPS))
            write_json(into / "summary.json", {"test": into.name, "unusable": None})
        else:
            folder = root / "archive" / slug(name)
            test = simulate(case.program, case.material, **made)
            write_test(folder, test, specimen("Marram 4", "M4-1", "A", "2026-01-12"))
            kept = {
                "channels": root / "channels" / f"{slug(name)}.parquet",
                "record": root / "channels" / f"{slug(name)}.json",
            }
            channels.run(folder, kept["channels"], kept["record"])
            stops.run(folder=folder, **kept, settings=REDUCE, into=into)
        losses[name] = true_loss(test.truth, case.material)
    compound = results / "compounds" / "marram-4"
    repeatability.run(
        compound="Marram 4",
        archive=root,
        tests=[slug(n) for n in named],
        results=results,
        settings=JUDGE,
        into=compound,
    )
    out = []
    for name, case in named.items():
        into = results / "tests" / slug(name)
        drift.run(folder=into, settings=JUDGE, repeatability=compound / "repeatability.json", into=into)
        out.append(Judged(name, read(into / "drift.json", TestDrift), case.right, case.first_stop, losses[name]))
    return out


def true_loss(truth: pl.DataFrame, material: Material) -> float | None:
    """Share of mu that glaze takes at the last checks before the first hard use after it."""
    if material.glaze_loss <= 0 or "ridge use" not in truth["block"].to_list():
        return None
    hard = truth.filter(pl.col("block") == "ridge use")["stop"].min()
    checks = truth.filter(pl.col("purpose") == "check", pl.col("stop") < hard)
    last = checks.filter(pl.col("block") == checks["block"][-1])["glaze"].mean()
    loss = material.glaze_loss * float(last)  # type: ignore[arg-type]
    return loss if loss > 0.02 else None


def slug(name: str) -> str:
    return "".join(c if c.isalnum() else "-" for c in name)


def study(tests: int, level: str, seed: int) -> list[Judged]:
    """`tests` tests of every cause."""
    rows = []
    for k in range(tests):
        rng = np.random.default_rng([seed, k])
        with tempfile.TemporaryDirectory() as folder:
            rows += judged(cases(rng), level, 100 * seed + k, Path(folder))
    return rows


def report(rows: list[Judged], level: str) -> str:
    """The study as Markdown."""
    lines = [
        "| cause | tests | right | verdicts | first stop - truth | loss - truth (share) | recovered |",
        "|---|---|---|---|---|---|---|",
    ]
    for cause in dict.fromkeys(r.cause for r in rows):
        own = [r for r in rows if r.cause == cause]
        verdicts = Counter(" + ".join([r.answer.verdict, *r.answer.also]) for r in own)
        right = sum(r.answer.verdict in r.right for r in own)
        onset = [f"{r.answer['onset_stop'] - r.first_stop:+d}" for r in own if r.first_stop and r.answer.onset_stop]
        loss = [
            f"{r.answer['mu_loss_share'] - r.loss:+.3f}" for r in own if r.loss and r.answer.mu_loss_share is not None
        ]
        back = Counter(str(r.answer.recovered).lower() for r in own if r.answer.recovered is not None)
        lines.append(
            f"| {cause} | {len(own)} | {right} | {', '.join(f'{v} {n}' for v, n in verdicts.items())} | {', '.join(onset[:12])} |"
            f" {', '.join(loss[:12])} | {', '.join(f'{v} {n}' for v, n in back.items())} |"
        )
    through = "raw recordings through every stage" if level == "files" else "the simulator's own stop rows"
    reasons = sorted(
        {
            f"- {r.cause}: {r.answer['verdict']}: {r.answer['evidence']['why']}"
            for r in rows
            if r.answer.verdict not in r.right
        }
    )
    return (
        f"# Drift verdicts on the rig's simulator\n\nWritten by `python -m tests.studies.drift_through_files --write`: {len(rows)}"
        f" tests, {through}.\n\n"
        + "\n".join(lines)
        + "\n\n## Not right, and the reason given\n\n"
        + ("\n".join(reasons) or "None.")
        + "\n"
    )


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--tests", type=int, default=3)
    options.add_argument("--level", choices=("files", "stops"), default="files")
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--write", action="store_true")
    chosen = options.parse_args()
    text = report(study(chosen.tests, chosen.level, chosen.seed), chosen.level)
    print(text)
    if chosen.write:
        name = "drift_files_study.md" if chosen.level == "files" else "drift_simulator_study.md"
        Path(__file__).parents[2].joinpath("docs", name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
