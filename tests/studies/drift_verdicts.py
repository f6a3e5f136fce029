"""Confusion table of the drift verdicts over simulated tests of every cause.

    python -m tests.studies.drift_verdicts [--share 1.0] [--seed 1] [--write]

Compounds of eight healthy tests each, with a scatter, autocorrelation and block shift of their own; the scatter is
pooled over them as the pipeline does, then every healthy test and one test of each other cause is judged. With --write
the figures go to docs/drift_study.md.
"""

import argparse
import time
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from scipy.stats import beta

from pipeline.drift.analysis import analyse
from pipeline.drift.noise import Repeatability
from pipeline.drift.repeatability import pooled_over_tests
from pipeline.drift.series import series
from pipeline.method.drift import Drift
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

COMPOUNDS = 130
HEALTHY = 8
VERDICTS = ("none", "glazing-like", "fade", "bedding-in", "sensor", "moisture", "undetermined")


class Row(NamedTuple):
    """One judged test: its cause, truth and answer."""

    cause: str
    true_onset: int | None
    true_loss: float
    answer: dict[str, Any]
    seconds: float


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
    content = pooled_over_tests({str(i): series(t.stops, settings) for i, t in enumerate(tests)}, settings)
    return Repeatability(
        content["sigma"], content["autocorrelation"], content["autocorrelation_u"], content["block_sigma"],
        content["use_factor"], content["dof"],
    )  # fmt: skip


def judged(cause: str, test: Made, noise: Repeatability, settings: Drift, truth: Truth | None = None) -> Row:
    began = time.perf_counter()
    answer = analyse(test.stops, settings, noise)
    answer.pop("charts")
    onset = test.glaze_onset
    if truth and not onset:
        onset = next((x[0] for x in (truth.torque_step, truth.pressure_step, truth.surface_step) if x[0]), None)
    return Row(cause, onset, test.loss, answer, time.perf_counter() - began)


def interval(hits: int, of: int, confidence: float = 0.95) -> tuple[float, float]:
    """Clopper-Pearson interval of a share."""
    tail = (1 - confidence) / 2
    low = 0.0 if hits == 0 else float(beta.ppf(tail, hits, of - hits + 1))
    high = 1.0 if hits == of else float(beta.ppf(1 - tail, hits + 1, of - hits))
    return low, high


def by_cause(rows: list[Row]) -> dict[str, list[Row]]:
    out: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        out[row.cause].append(row)
    return out


def share_of(rows: list[Row], verdict: str) -> float:
    """Share of the rows with this verdict as their first."""
    return sum(r.answer["verdict"] == verdict for r in rows) / len(rows)


def confusion(rows: list[Row]) -> str:
    """Verdicts by cause, as a table."""
    lines = [
        "| cause | tests | " + " | ".join(VERDICTS) + " | glazing-like in also |",
        "|---|---|" + "---|" * (len(VERDICTS) + 1),
    ]
    for cause, own in by_cause(rows).items():
        counts = Counter(r.answer["verdict"] for r in own)
        also = sum("glazing-like" in r.answer["also"] for r in own)
        cells = " | ".join(str(counts[v]) if counts[v] else "" for v in VERDICTS)
        lines.append(f"| {cause} | {len(own)} | {cells} | {also or ''} |")
    return "\n".join(lines)


def onset_table(rows: list[Row]) -> str:
    """Onset and loss where the truth has them and the verdict is right."""
    lines = [
        "| cause | dated | onset within 10 stops | within 25 | interval holds the truth | median loss - truth | 90 % of errors within |",
        "|---|---|---|---|---|---|---|",
    ]
    for cause, own in by_cause(rows).items():
        dated = [r for r in own if r.true_onset and r.answer["onset_stop"] is not None and _right(r)]
        if len(dated) < 5:
            continue
        error = np.array([abs(r.answer["onset_stop"] - r.true_onset) for r in dated])
        held = np.mean([r.answer["onset_low"] <= r.true_onset <= r.answer["onset_high"] for r in dated])
        loss = np.array([r.answer["mu_loss_share"] - r.true_loss for r in dated if r.true_loss])
        sizes = f"{np.median(loss):+.3f} | {np.quantile(np.abs(loss), 0.9):.3f}" if len(loss) else " | "
        lines.append(
            f"| {cause} | {len(dated)} | {np.mean(error <= 10):.0%} | {np.mean(error <= 25):.0%} | {held:.0%} | {sizes} |"
        )
    return "\n".join(lines)


def _right(row: Row) -> bool:
    wanted = (
        "glazing-like"
        if row.cause.startswith("glazing")
        else "sensor"
        if row.cause.startswith("torque")
        else "undetermined"
    )
    return row.answer["verdict"] == wanted


def misses(rows: list[Row]) -> str:
    """Why tests with glazing were not called so, and why healthy ones were called anything."""
    lines = []
    for cause, own in by_cause(rows).items():
        if cause.startswith("glazing"):
            wrong = [r for r in own if "glazing-like" not in (r.answer["verdict"], *r.answer["also"])]
        elif cause.startswith("healthy"):
            wrong = [r for r in own if r.answer["verdict"] != "none"]
        else:
            wrong = [r for r in own if r.answer["verdict"] == "glazing-like"]
        reasons = Counter(_reason(r) for r in wrong)
        for reason, count in reasons.most_common(6):
            lines.append(f"| {cause} | {count} of {len(own)} | {reason} |")
    return "\n".join(["| cause | tests | reason |", "|---|---|---|", *lines])


def _reason(row: Row) -> str:
    verdict, why = row.answer["verdict"], row.answer["evidence"]["why"]
    for mark, short in (
        ("no statistic passed", "no statistic passed its limit"),
        ("is not called a change", "change below the least that is called one"),
        ("a step and growth", "a step and growth with use could not be told apart"),
        ("it came as a step", "looked like a step"),
        ("grew with every stop", "looked like growth with any stop"),
        ("energy ratio changed", "energy ratio not clear"),
        ("brought friction back is not clear", "return after hard use not clear"),
        ("did not bring friction back", "no return after hard use"),
        ("brought friction back", "friction came back after hard use"),
        ("no low-energy use", "onset placed after the use"),
        ("grew with low-energy use", "grew with low-energy use, nothing recorded speaks against"),
    ):
        if mark in why:
            return f"{verdict}: {short}"
    return f"{verdict}: {why[:80]}"


def summary(rows: list[Row]) -> str:
    """The aims and what was reached."""
    groups = by_cause(rows)
    healthy = [r for c, own in groups.items() if c.startswith("healthy") for r in own]
    lines = ["| aim | reached | 95 % interval | tests |", "|---|---|---|---|"]

    def line_of(aim: str, hits: int, of: int) -> None:
        low, high = interval(hits, of)
        lines.append(f"| {aim} | {hits / of:.1%} | {low:.1%} to {high:.1%} | {of} |")

    def called(cause: str, verdict: str = "glazing-like") -> tuple[int, int]:
        own = groups[cause]
        return sum(verdict in (r.answer["verdict"], *r.answer["also"]) for r in own), len(own)

    line_of(
        "healthy called glazing-like: 1 % at most",
        sum(r.answer["verdict"] == "glazing-like" for r in healthy),
        len(healthy),
    )
    line_of("healthy called anything: 1 % at most", sum(r.answer["verdict"] != "none" for r in healthy), len(healthy))
    line_of("glazing 8 % found: 95 %", *called("glazing 8 %"))
    line_of("glazing 5 % found: 80 %", *called("glazing 5 %"))
    torque = [called(c) for c in groups if c.startswith("torque")]
    line_of("torque drift called glazing-like: none", sum(h for h, _ in torque), sum(n for _, n in torque))
    for cause in ("declared fade", "fade in hot use", "bedding unfinished", "moisture, cold start"):
        line_of(f"{cause} called glazing-like: 2 % at most", *called(cause))
    dated = [r for r in groups["glazing 8 %"] if r.answer["onset_stop"] is not None]
    near = sum(abs(r.answer["onset_stop"] - r.true_onset) <= 10 for r in dated)
    line_of("onset of glazing 8 % within 10 stops: 80 %", near, max(1, len(dated)))
    return "\n".join(lines)


def report(rows: list[Row]) -> str:
    """The whole study as Markdown."""
    seconds = np.array([r.seconds for r in rows])
    return f"""# Drift verdicts: a simulated study

Written by `python -m tests.studies.drift_verdicts --write`; every figure comes from that run. {len(rows)} tests, judged from
their table of stops; compounds of {HEALTHY} healthy tests give the pooled scatter. Scatter of mu 1.5 to 2.5 % with an
autocorrelation of 0 to 0.5, a shift from block to block of up to 0.6 %, energy ratio scatter 0.2 to 0.6 %. The short program
has 31 checks in about 150 stops, the long one 59 in about 250. Time of one test: median {np.median(seconds):.2f} s, 95 %
{np.quantile(seconds, 0.95):.2f} s.

## Aims

{summary(rows)}

## Verdicts by cause

{confusion(rows)}

What the recorded channels can tell: a drift of the recorder alone leaves the schedule's pressure and is called sensor; an
offset shows at rest. A drift of the very sensor by which the rig controls changes neither the energy ratio nor the pressure
against the schedule: as a step it is undetermined, as a slow drift it is undetermined where high-energy use follows and
friction does not come back, and cannot be told from glazing where nothing follows; "pressure gain" is then named among
what is not excluded.

## Onset and loss

{onset_table(rows)}

The truth of the onset is the first stop with any loss at all. A loss that begins as the use begins is dated there unless the
stops speak against it; one that begins within the use has to be seen in stops of use against their scatter.

## Misses and false calls, with their reasons

{misses(rows)}
"""


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
