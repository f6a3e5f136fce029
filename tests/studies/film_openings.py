"""Glazing as a limit of the opening, against the truth: the gentle duties of the study of decisions, without wear.

    python -m tests.studies.film_openings [--count 60] [--seed 12]

The world of `decision_world` grows a film with the sliding path where the face is cold and the power low, and takes it off where the
face is hot and the power high; what is judged knows the direction alone, and counts by work. A compound's tests go through the drift
analysis, its gentle duty through the projection; what is recommended without reservation is held against what one use truly loses,
and the test that a reserved answer names is run by the world and handed back.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import Any

import numpy as np

from pipeline.drift.noise import Repeatability
from pipeline.results.wear import CompoundWear
from tests.studies.decision_compounds import draw
from tests.studies.decision_tests import run
from tests.studies.decision_use import GRID, used
from tests.studies.decisions import LOSS_WANTED, Judged, Record, _opening, friction_of


class Unworn(Judged):
    """A compound's tests analysed for drift alone."""

    def __init__(self, of: Any, rng: np.random.Generator) -> None:
        self.of, self.rng = of, rng
        self.runs = run(of, rng)
        self.noise = Repeatability(of.scatter, 0.25, 0.08, 0.0015, 1.0, 100.0)
        self.records, self.drifts, self.cycles = [], {}, {}
        for test in self.runs:
            self.take(test)
        self.wear = CompoundWear(compound="Invented", components={}, why="not read")
        self.window = friction_of(of, self.drifts, rng)


def judged(index: int, seed: int) -> Record:
    """What is recommended for a compound's gentle duty, and what it truly does."""
    rng = np.random.default_rng([seed, 10, index])
    of = draw(rng, 1.0)
    tests, duty = Unworn(of, rng), of.duties[0]
    return _opening(tests, duty, tests.answers([duty])[0], used(of, duty, GRID)) | {"glazes": of.glazes}


def counts(found: list[Record]) -> dict[str, tuple[int, int]]:
    """(how many, of how many) of each figure."""
    sure = [r for r in found if r["sure"]]
    bracketed = [r for r in found if r["span"] and r["brackets"]]
    named = [r for r in found if "settled" in r]
    return {
        "glazes though unreserved": (sum(r["sure_loss"] > LOSS_WANTED for r in sure), len(sure)),
        "unreserved where bracketed": (sum(bool(r["sure"]) for r in bracketed), len(bracketed)),
        "settled by the named test": (sum(r["settled"] for r in named), len(named)),
        "freed by it though truly more than the target": (
            sum(r["settled_loss"] > LOSS_WANTED for r in named if r["settled_loss"] is not None),
            sum(r["settled_loss"] is not None for r in named),
        ),
        "ruled out by it though truly holding": (
            sum(r["run_loss"] <= LOSS_WANTED for r in named if r["ruled_out"]),
            sum(r["ruled_out"] for r in named),
        ),
        "openings given": (sum(bool(r["span"]) for r in found), len(found)),
        "reserved, and truly more than the target somewhere": (
            sum(r["loss"] > LOSS_WANTED for r in found if r["span"] and not r["sure"]),
            sum(bool(r["span"] and not r["sure"]) for r in found),
        ),
    }


def rows(count: int, seed: int) -> Iterator[Record]:
    for index in range(count):
        yield judged(index, seed)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--seed", type=int, default=12)
    given = parser.parse_args()
    for name, (hits, of) in counts(list(rows(given.count, given.seed))).items():
        print(f"{name}: {hits} of {of}")


if __name__ == "__main__":
    main()
