"""Confusion table of the drift verdicts over simulated tests of every cause.

    python -m tests.studies.drift_verdicts [--share 1.0] [--seed 1] [--write]

Compounds of eight healthy tests each, with a scatter, autocorrelation and block shift of their own; the scatter is
pooled over them as the pipeline does, then every healthy test and one test of each other cause is judged. With --write
the figures go to docs/drift_study.md.
"""

import argparse
import time
from pathlib import Path

import numpy as np

from pipeline.drift.analysis import analyse
from pipeline.drift.noise import Repeatability
from pipeline.drift.repeatability import pooled_over_tests, scatter_of
from pipeline.drift.series import series
from pipeline.method.drift import Drift
from pipeline.results.model import renewed
from tests.drift.makers import (
    BEDDING,
    FADE,
    RECOVERY,
    RIDGE,
    VALLEY,
    Block,
    Made,
    Truth,
    check,
    line,
    long_program,
    made,
    other,
    plateau,
    short_program,
    with_readings,
)
from tests.studies.drift_tables import HEALTHY, Row, report

COMPOUNDS = 130


def causes(base: Truth, rng: np.random.Generator) -> dict[str, Truth]:
    """One test of each cause about a compound's healthy one; sizes and places drawn at random."""
    long, short = with_readings(long_program()), with_readings(short_program())
    place, sign = int(rng.integers(100, 200)), float(rng.choice([-1.0, 1.0]))
    size = float(rng.uniform(0.05, 0.10))
    growth = float(rng.uniform(30, 90))
    glaze = {"glaze_stops": growth, "program": long}
    return {
        "glazing 12 %": other(base, glaze_loss=0.12, **glaze),
        "glazing 8 %": other(base, glaze_loss=0.08, **glaze),
        "glazing 5 %": other(base, glaze_loss=0.05, **glaze),
        "glazing 8 %, no high-energy use after": other(
            base, glaze_loss=0.08, glaze_stops=growth, program=with_readings(long_program(recovery=False))
        ),
        "glazing 8 %, one check after the use": other(
            base, glaze_loss=0.08, glaze_stops=growth, program=with_readings(long_program(after_each=False))
        ),
        "glazing 8 %, from within the use": other(base, glaze_loss=0.08, glaze_from=place - 10, **glaze),
        "glazing 10 %, one block of 350 stops": other(
            base, glaze_loss=0.10, glaze_from=place + 30, glaze_stops=200.0, program=one_block()
        ),
        "glazing 10 % with fade blocks": other(base, glaze_loss=0.10, glaze_stops=growth, program=with_fade()),
        "glazing 10 % with torque gain drift": other(base, glaze_loss=0.10, torque_ramp=(60, sign * size), **glaze),
        "loss that grew with use, hard use does not clear": other(
            base, glaze_loss=0.10, clearing_stops=float("inf"), **glaze
        ),
        "torque gain step": other(base, torque_step=(place, sign * size), program=long),
        "torque gain drift": other(base, torque_ramp=(place - 60, -size), program=long),
        "torque gain drift, short program": other(base, torque_ramp=(40, -size), program=short),
        "declared fade": other(base, program=with_fade()),
        "fade in hot use": other(base, hot_loss=float(rng.uniform(0.05, 0.10)), program=hot_use()),
        "bedding unfinished": other(base, green=size, bedding_stops=float(rng.uniform(8, 30)), program=long),
        "moisture, cold start": other(
            base, soak=float(rng.uniform(0.08, 0.20)), soak_stops=float(rng.uniform(0.8, 2.5)), program=damp_use()
        ),
        "pressure gain step (rig controls by it)": other(base, pressure_step=(place, size), program=long),
        "pressure gain drift (rig controls by it)": other(base, pressure_ramp=(60, 1.5 * size), program=long),
        "pressure gain drift, no high-energy use after": other(
            base, pressure_ramp=(60, 1.5 * size), program=with_readings(long_program(recovery=False))
        ),
        "pressure recorder drift": other(base, recorder_ramp=(60, 1.5 * size), program=long),
        "pressure offset drift, not taken off": other(base, offset_ramp=(60, 25 * 1.5 * size), program=long),
        "contamination step": other(base, surface_step=(place, size), program=long),
        "checks run 130 K colder from the middle": other(base, program=colder()),
        "energy ratio missing, glazing 10 %": other(base, glaze_loss=0.10, ratio_missing=True, **glaze),
    }


def one_block() -> list[Block]:
    """400 stops, nothing but a bedded surface under gentle cold use."""
    return [BEDDING, check(1, 6), VALLEY._replace(stops=350, initial=110.0)]


def with_fade() -> list[Block]:
    blocks = with_readings(long_program())
    at = next(i for i, b in enumerate(blocks) if b.name == "check 6")
    return [*blocks[:at], FADE, RECOVERY, *blocks[at:]]


def hot_use() -> list[Block]:
    """Undeclared fade: hard use whose stops start ever hotter."""
    blocks = with_readings(short_program())
    at = next(i for i, b in enumerate(blocks) if b.name == "ridge use")
    return [*blocks[:at], RIDGE._replace(initial=300.0, rise=24.0), *blocks[at + 1 :]]


def damp_use() -> list[Block]:
    cold = VALLEY._replace(stops=16, initial=120.0)
    return [
        BEDDING, check(1, 6), *line((60.0, 100.0, 140.0, 180.0, 220.0, 260.0)), *plateau(1), check(2), cold, check(3),
        cold._replace(name="valley use 2", pause=50000.0), check(4), cold._replace(name="valley use 3"), check(5, 6),
    ]  # fmt: skip


def colder() -> list[Block]:
    blocks, seen = [], 0
    for block in with_readings(long_program()):
        seen += block.purpose == "check"
        blocks.append(block._replace(initial=170.0) if block.purpose == "check" and seen > 5 else block)
    return blocks


def study(share: float = 1.0, seed: int = 1) -> list[Row]:
    """Judge `share` of the study's tests."""
    rng = np.random.default_rng(seed)
    settings = Drift()
    rows: list[Row] = []
    for compound in range(max(1, round(COMPOUNDS * share))):
        base = Truth(
            sigma=float(rng.uniform(0.015, 0.025)), rho=float(rng.uniform(0.0, 0.5)),
            block_sigma=float(rng.uniform(0.0, 0.006)), ratio_sigma=float(rng.uniform(0.002, 0.006)),
        )  # fmt: skip
        start = 100_000 * (seed + 1) + 1000 * compound
        programs = [with_readings(short_program()), with_readings(long_program())]
        healthy = [made(other(base, program=programs[i % 2]), start + i) for i in range(HEALTHY)]
        noise = pooled(healthy, settings)
        for i, test in enumerate(healthy):
            rows.append(
                judged("healthy, short program" if i % 2 == 0 else "healthy, long program", test, noise, settings)
            )
        for i, (cause, truth) in enumerate(causes(base, rng).items()):
            rows.append(judged(cause, made(truth, start + 100 + i), noise, settings, truth))
    return rows


def pooled(tests: list[Made], settings: Drift) -> Repeatability:
    found = scatter_of(pooled_over_tests({str(i): series(t.stops, settings) for i, t in enumerate(tests)}))
    assert found is not None
    return found


def judged(cause: str, test: Made, noise: Repeatability, settings: Drift, truth: Truth | None = None) -> Row:
    began = time.perf_counter()
    answer = renewed(analyse(test.stops, settings, noise), charts=None)
    onset = test.glaze_onset
    if truth and not onset:
        onset = next((x[0] for x in (truth.torque_step, truth.pressure_step, truth.surface_step) if x[0]), None)
    return Row(cause, onset, test.loss, answer, time.perf_counter() - began)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--share", type=float, default=1.0)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--write", action="store_true")
    chosen = options.parse_args()
    rows = study(chosen.share, chosen.seed)
    text = report(rows)
    print(text)
    if chosen.write:
        Path(__file__).parents[2].joinpath("docs", "drift_study.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
