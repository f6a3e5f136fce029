"""The planner's chances against batch comparisons simulated from stops and carried through the real analysis.

    python -m tests.studies.planner [--runs 1000] [--seed 1] [--write]

Eight designs. Each run invents the stops of every specimen of every batch (level of the batch, the specimen's own, a
shift of each block, neighbouring stops alike) and the wear readings, and gives them to `pipeline.batches.compare`, which
judges friction, bite and wear as it judges an archive. Counted are `equivalent` where the batches are alike, and
`different` at the differences that the planner says are found with chances of 80 % and of 40 %. The generator shares no
code with the planner and none with the comparison. With --write the figures go to docs/planner_study.md.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np

from pipeline.archive.targets import Target
from pipeline.batches import compare
from pipeline.batches.specimens import SpecimenTest, WearRate
from pipeline.method.batches import Batches
from pipeline.planning.comparison import Design, Rule, chances, shown
from pipeline.planning.components import Component, Quantity, Scatter, Stops
from tests.makers import stops_frame

QUANTITIES: tuple[Quantity, ...] = ("mu", "bite", "wear")
LEVELS = {"mu": 0.45, "bite": 0.16, "wear": math.log(2.6)}
TRUTHS = {"equivalent": None, "different": 0.8, "different, smaller": 0.4}  # asked: chance wanted by the planner
WEAR_STOPS, READING_UM = 180, 1.5
ALLOWED = 0.05


class World(NamedTuple):
    """True scatter: of specimens (mu, bite, logarithm of wear), of a stop (mu, bite), of a block, of neighbours."""

    specimen: dict[str, float]
    stop: float
    bite_stop: float
    block: float = 0.0
    alike: float = 0.0


@dataclass(frozen=True)
class Case:
    """A design: specimens of each batch (the first two are compared), stops of each check and cold block, the world.

    state_u: relative uncertainty of the torque and pressure chains where the second batch runs after a calibration.
    """

    name: str
    specimens: tuple[int, ...]
    checks: tuple[int, ...]
    cold: tuple[int, ...]
    world: World
    margin: float  # of mu and bite
    ratio: float  # of wear, and one over it
    state_u: float = 0.0


USUAL = World({"mu": 0.006, "bite": 0.005, "wear": 0.05}, 0.008, 0.004)
ROUGH = World({"mu": 0.012, "bite": 0.011, "wear": 0.10}, 0.012, 0.006, block=0.003, alike=0.35)
CALM = World({"mu": 0.002, "bite": 0.002, "wear": 0.015}, 0.012, 0.006)
CASES = (
    Case("2 and 2, two blocks of checks", (2, 2), (6, 6), (2, 2), USUAL, 0.025, 1.25),
    Case("3 and 3, neighbours alike", (3, 3), (6, 4, 4, 4), (2, 2, 2), ROUGH._replace(block=0.0), 0.03, 1.3),
    Case("4 against 2 that are there", (4, 2), (6, 4, 4), (2, 2), USUAL, 0.016, 1.14),
    Case("6 against 3, few stops and calm specimens", (6, 3), (4,), (3,), CALM, 0.012, 1.03),
    Case("3 and 3 beside a third batch of 3", (3, 3, 3), (6, 4), (2, 2), USUAL, 0.015, 1.13),
    Case("5 and 5, rough specimens and blocks", (5, 5), (6, 4, 4), (2, 2), ROUGH, 0.022, 1.2),
    Case("3 and 3, a calibration between", (3, 3), (6, 4, 4), (2, 2), USUAL, 0.018, 1.15, state_u=0.008),
    Case("8 against 4, rough specimens", (8, 4), (5, 5), (3,), ROUGH, 0.022, 1.17),
)


def scatters(case: Case) -> dict[Quantity, Scatter]:
    """What the planner is told: the case's true scatter."""
    w = case.world
    readings = READING_UM * math.sqrt(2) / (WEAR_STOPS * math.exp(LEVELS["wear"]))
    stops = {"mu": Stops(w.stop, w.alike, w.block), "bite": Stops(w.bite_stop), "wear": Stops(readings)}
    return {
        q: Scatter(q, LEVELS[q], Component(w.specimen[q], None, None, math.inf, "known"), stops[q], {}, "stops")
        for q in QUANTITIES
    }


def design_of(case: Case, quantity: Quantity) -> Design:
    blocks = {"mu": case.checks, "bite": (sum(case.cold),), "wear": (1,)}[quantity]
    first, second, *further = case.specimens
    known = 0.0 if quantity == "wear" else case.state_u * LEVELS[quantity] * math.sqrt(2)
    return Design(first, second, blocks, tuple(further), known)


def rule_of(case: Case, quantity: Quantity, wanted: float | None) -> Rule:
    half = math.log(case.ratio) if quantity == "wear" else case.margin
    return Rule((-half, half), wanted=wanted or 0.8)


def series(rng: np.random.Generator, blocks: tuple[int, ...], sd: float, alike: float, block_sd: float) -> np.ndarray:
    """Scatter of the stops of the blocks about their specimen's level."""
    rows = []
    for n in blocks:
        fresh = rng.normal(0, 1, n)
        row = [fresh[0]] if n else []
        for k in range(1, n):
            row.append(alike * row[-1] + math.sqrt(1 - alike**2) * fresh[k])
        rows.append(sd * np.array(row) + rng.normal(0, block_sd))
    return np.concatenate(rows)


def one_test(
    rng: np.random.Generator, case: Case, batch: int, number: int, shift: dict[Quantity, float]
) -> SpecimenTest:
    """A specimen's test; `shift` is what its batch is off by."""
    w, cold, checks = case.world, sum(case.cold), sum(case.checks)
    own = {q: LEVELS[q] + shift[q] + rng.normal(0, w.specimen[q]) for q in QUANTITIES}
    mu = np.r_[np.full(cold, 0.2), own["mu"] + series(rng, case.checks, w.stop, w.alike, w.block)]
    bite = np.r_[own["bite"] + rng.normal(0, w.bite_stop, cold), np.full(checks, 0.4)]
    start = np.r_[np.full(cold, 70.0), np.full(checks, 300.0)] + rng.normal(0, 1.0, cold + checks)
    frame = stops_frame(
        cold + checks, purpose=["map"] * cold + ["check"] * checks, mu=mu, mu_bite=bite, temperature_initial_c=start
    )
    loss = math.exp(own["wear"]) * WEAR_STOPS + rng.normal(0, READING_UM) - rng.normal(0, READING_UM)
    half = 1.96 * READING_UM * math.sqrt(2) / WEAR_STOPS
    rate = WearRate(loss / WEAR_STOPS, loss / WEAR_STOPS - half, loss / WEAR_STOPS + half)
    epoch = "after" if case.state_u and batch == 1 else "before"
    return SpecimenTest(
        f"{batch}-{number}", f"b{batch + 1}", f"s{number}", frame, rig="rig", epoch=epoch,
        common_u=case.state_u or None, sensor_u=case.state_u or None, wear_rate=rate,
    )  # fmt: skip


def verdicts(rng: np.random.Generator, case: Case, differences: dict[Quantity, float]) -> dict[Quantity, str]:
    """The answers about the first two batches, the first off by the differences; all others alike."""
    off = rng.normal(0, case.state_u, 2) if case.state_u else np.zeros(2)  # what a calibration leaves, by state
    tests = []
    for batch, count in enumerate(case.specimens):
        state = off[1] if batch == 1 else off[0]
        shift = {q: differences[q] * (batch == 0) + (0 if q == "wear" else LEVELS[q] * state) for q in QUANTITIES}
        tests += [one_test(rng, case, batch, number, shift) for number in range(count)]
    target = Target(
        compound="x",
        mu_batch_margin=case.margin,
        bite_margin=case.margin,
        wear_batch_ratio=(1 / case.ratio, case.ratio),
    )
    found = compare.compare(tests, shape=None, at_reference=None, target=target, settings=Batches())
    pair = next(p for p in found.pairs if (p.a, p.b) == ("b1", "b2"))
    return dict(pair.verdicts)


class Row(NamedTuple):
    """A chance planned, and how often it came out of the runs."""

    case: str
    quantity: Quantity
    asked: str
    difference: float
    planned: float
    came: float
    runs: int

    @property
    def off(self) -> float:
        return self.planned - self.came


def rows(case: Case, runs: int, seed: int) -> Iterator[Row]:
    """Planned and simulated chances of a case; `runs` comparisons for each of the three truths."""
    known = scatters(case)
    for number, (asked, wanted) in enumerate(TRUTHS.items()):
        rules = {q: rule_of(case, q, wanted) for q in QUANTITIES}
        word = asked.split(",")[0]
        at = dict.fromkeys(QUANTITIES, 0.0)
        if wanted is not None:
            at = {q: shown(known[q], design_of(case, q), rules[q]).difference or math.nan for q in QUANTITIES}
        came = dict.fromkeys(QUANTITIES, 0)
        rng = np.random.default_rng([seed, CASES.index(case), number])
        for _ in range(runs):
            for q, answer in verdicts(rng, case, at).items():
                came[q] += answer == word
        for q in QUANTITIES:
            both = chances(known[q], design_of(case, q), rules[q], at[q])
            assert both is not None
            yield Row(case.name, q, asked, at[q], both[word == "different"], came[q] / max(runs, 1), runs)


def largest(table: list[Row]) -> Row:
    """The row farthest off."""
    return max(table, key=lambda row: abs(row.off))


def page(table: list[Row], seed: int) -> str:
    """The study as a page."""
    worst, runs = largest(table), table[0].runs
    off = [row.off for row in table]
    parts = [
        HEAD.format(runs=runs, seed=seed, worst=100 * abs(worst.off), where=f"{worst.case}, {worst.quantity}, {worst.asked}",
                    inside=sum(round(abs(x), 3) <= ALLOWED for x in off), rows=len(off), mean=100 * sum(off) / len(off),
                    rms=100 * math.sqrt(sum(x * x for x in off) / len(off)),
                    chance=100 * math.sqrt(sum(r.planned * (1 - r.planned) / r.runs for r in table) / len(table)))
    ]  # fmt: skip
    for case in CASES:
        own = [row for row in table if row.case == case.name]
        parts.append(f"| {case.name} | {case.margin:g}; {case.ratio:g} |")
        for q in QUANTITIES:
            said = "; ".join(f"{100 * row.planned:.0f} / {100 * row.came:.0f}" for row in own if row.quantity == q)
            parts.append(f" {said} |")
        parts.append("\n")
    return "".join(parts)


HEAD = """\
# Does a plan keep what it says?

Written by `python -m tests.studies.planner --write`; nothing here is typed by hand. Seed {seed}.

Batches are judged here; glazing, window ends and the wear law, with fewer runs, in
[planner_few_study.md](planner_few_study.md).

## Batches

Eight designs, {runs} simulated comparisons for each of three truths, from stops through the real analysis: batches that are
alike (how often `equivalent`), and batches apart by the differences that the planner says are called `different` with
chances of 80 % and 40 %. The margins (of mu and bite; of the ratio of wear, and one over it) are set so that chances lie in
the middle, where a fault shows. Each cell: planned / came out, in per cent, of `equivalent`; of `different` at the larger
difference; at the smaller one.

Largest departure {worst:.1f} points ({where}); {inside} of {rows} chances within 5 points; on average {mean:+.1f}, root mean
square {rms:.1f} points, where chance alone makes {chance:.1f}.

The planner is told the true scatter: what it makes of a scatter that is itself known from few specimens is why every plan
also stands for the pessimistic end.

| design | margins | mu | bite | wear |
|---|---|---|---|---|
"""


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    table = []
    for case in CASES:
        for row in rows(case, given.runs, given.seed):
            table.append(row)
            print(*row[:3], f"{row.difference:.4f} planned {row.planned:.3f} came {row.came:.3f}", flush=True)
    text = page(table, given.seed)
    print(text)
    if given.write:
        (Path(__file__).parents[2] / "docs" / "planner_study.md").write_text(text)


if __name__ == "__main__":
    main()
