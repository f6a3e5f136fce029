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
import time
from collections.abc import Iterator
from dataclasses import dataclass
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
    target = Target(compound="x", mu_batch_margin=case.margin, wear_batch_ratio=(1 / case.ratio, case.ratio))
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


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    begun = time.process_time()
    table = []
    for case in CASES:
        for row in rows(case, given.runs, given.seed):
            table.append(row)
            print(
                *row[:3],
                f"{row.difference:.4f} planned {row.planned:.3f} came {row.came:.3f} off {row.off:+.3f}",
                flush=True,
            )
    print(f"{time.process_time() - begun:.0f} s")


if __name__ == "__main__":
    main()
