"""The three answers about batches of unequal size: mu, bite and wear ratio through the whole comparison, from stops.

    python -m tests.studies.unequal_batches [--share 1.0] [--seed 1] [--write]

Batches of two to five specimens each, unlike in number, specimens of 3 to 30 stops, unlike in number too, scatter between
specimens and an autocorrelated one of stops. Each pair is compared as the compound stage does it (`batches.compare`), at the
margin, where `equivalent` is wrong, and at no difference, where `different` is. A row of pairs with one specimen on one side
must hold no answer at all. With --write the figures go to docs/unequal_batches_study.md.
"""

import argparse
import itertools
import math
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import numpy as np
import polars as pl
from scipy.stats import beta

from pipeline.archive.targets import Target
from pipeline.batches import compare
from pipeline.batches.specimens import SpecimenTest, WearRate
from pipeline.method.batches import Batches
from pipeline.results.batches import Quantity

DRAWS = 1000
WANTED = 0.065
MU, BITE, WEAR = 0.45, 0.15, 2.5  # levels
MU_MARGIN, BITE_SHARE, RATIO = 0.03, 0.08, 1.25
TARGET = Target(compound="x", mu_batch_margin=MU_MARGIN, bite_margin="8 %", wear_batch_ratio=(1 / RATIO, RATIO))
SPREAD = {"mu": 0.008, "bite": 0.0025, "wear": 0.06}  # between specimens; of wear's logarithm
STOP, CORRELATION = 0.02, 0.3  # relative, of neighbouring stops
READING = 0.02  # of the logarithm of a specimen's wear
QUANTITIES: tuple[Quantity, ...] = ("mu", "bite", "wear")

Counts = Callable[[np.random.Generator], tuple[int, ...]]


def unequal(rng: np.random.Generator) -> tuple[int, ...]:
    """Two batches of two to five specimens, never as many."""
    return tuple(int(n) for n in rng.choice([2, 3, 4, 5], 2, replace=False))


def beside_others(rng: np.random.Generator) -> tuple[int, ...]:
    """The same beside two further batches of one to four."""
    return (*unequal(rng), *(int(n) for n in rng.integers(1, 5, 2)))


def single(rng: np.random.Generator) -> tuple[int, ...]:
    """One specimen against two to five."""
    return (1, int(rng.integers(2, 6)))


SCENARIOS: dict[str, Counts] = {"two batches": unequal, "beside two more": beside_others}


class Row(NamedTuple):
    """Answers of one quantity over `draws` pairs at a true difference (of wear: ratio)."""

    scenario: str
    quantity: Quantity
    at_margin: bool
    draws: int
    equivalent: int
    different: int
    covered: int

    @property
    def wrong(self) -> int:
        return self.equivalent if self.at_margin else self.different


def noise(rng: np.random.Generator, n: int) -> np.ndarray:
    """Scatter of n stops, each a little like the one before."""
    step = rng.normal(0, STOP * math.sqrt(1 - CORRELATION**2), n)
    out = np.empty(n)
    before = rng.normal(0, STOP)
    for i in range(n):
        before = CORRELATION * before + step[i]
        out[i] = before
    return out


def tests_of(
    rng: np.random.Generator, counts: tuple[int, ...], at_margin: bool
) -> tuple[list[SpecimenTest], dict[str, float]]:
    """Every specimen's test, and by how much the first batch is off (of wear: over the others): the margin, up or down, or nothing."""
    sign = rng.choice([-1.0, 1.0]) if at_margin else 0.0
    # off by the share of the level that the comparison takes it of: the mean over the specimens
    share = counts[0] / sum(counts)
    bite_off = sign * BITE_SHARE * BITE / (1 - sign * BITE_SHARE * share)
    made = []
    for batch, several in enumerate(counts):
        off = batch == 0
        for letter in "ABCDEFGH"[:several]:
            stops = int(rng.integers(3, 31))
            level = MU + sign * MU_MARGIN * off + rng.normal(0, SPREAD["mu"])
            bite = BITE + bite_off * off + rng.normal(0, SPREAD["bite"])
            log_wear = math.log(WEAR) + sign * math.log(RATIO) * off + rng.normal(0, SPREAD["wear"])
            worn = math.exp(log_wear + rng.normal(0, READING))
            half = worn * 1.96 * READING
            frame = stops_of(rng, stops, level, bite)
            made.append(
                SpecimenTest(
                    f"b{batch}-{letter}", f"b{batch}", letter, frame, wear_rate=WearRate(worn, worn - half, worn + half)
                )
            )
    return made, {"mu": sign * MU_MARGIN, "bite": bite_off, "wear": RATIO**sign}


def stops_of(rng: np.random.Generator, n: int, level: float, bite: float) -> pl.DataFrame:
    """Check stops of one specimen, a third of them cold enough for the bite."""
    cold = max(3, n // 3)
    return pl.DataFrame(
        {
            "stop": np.arange(1, n + cold + 1),
            "status": ["ok"] * (n + cold),
            "purpose": ["check"] * n + ["map"] * cold,
            "mu": np.r_[level * (1 + noise(rng, n)), np.full(cold, 0.2)],
            "mu_bite": np.r_[np.full(n, 0.4), bite * (1 + noise(rng, cold))],
            "temperature_initial_c": np.r_[np.full(n, 300.0), rng.normal(80.0, 3.0, cold)],
            "pressure_bar": np.full(n + cold, 25.0),
            "speed_start_rpm": np.full(n + cold, 1450.0),
            "energy_ratio": np.ones(n + cold),
        }
    )


def compared(scenario: str, counts: Counts, at_margin: bool, share: float, seed: int) -> list[Row]:
    """Answers about the first two batches of every draw."""
    draws, tally = max(round(DRAWS * share), 20), {name: Counter[str]() for name in QUANTITIES}
    rng = np.random.default_rng([seed, len(scenario), int(at_margin)])
    for _ in range(draws):
        several = counts(rng)
        tests, truth = tests_of(rng, several, at_margin)
        found = compare.compare(tests, shape=None, at_reference=None, target=TARGET, settings=Batches())
        pair = found.pairs[0]
        for name, figure in zip(QUANTITIES, (pair.mu_difference, pair.bite_difference, pair.wear_ratio), strict=True):
            tally[name][pair.verdicts[name]] += 1
            if figure.low is not None and figure.high is not None:
                tally[name]["covered"] += figure.low <= truth[name] <= figure.high
    return [
        Row(
            scenario,
            name,
            at_margin,
            draws,
            tally[name]["equivalent"],
            tally[name]["different"],
            tally[name]["covered"],
        )
        for name in QUANTITIES
    ]


def table(share: float, seed: int) -> list[Row]:
    """Every scenario at the margin and at no difference."""
    return [
        row
        for (name, counts), at_margin in itertools.product(SCENARIOS.items(), (True, False))
        for row in compared(name, counts, at_margin, share, seed)
    ]


def of_single(share: float, seed: int) -> list[Row]:
    """Pairs with one specimen on one side, at the margin and at no difference."""
    return [row for at_margin in (True, False) for row in compared("one specimen", single, at_margin, share, seed)]


def page(share: float, seed: int) -> str:
    """The study as a page."""
    parts = [HEAD.format(draws=max(round(DRAWS * share), 20), seed=seed, wanted=100 * WANTED, **SPREAD)]
    for row in table(share, seed):
        low, high = bounds(row.wrong, row.draws)
        where = "the margin" if row.at_margin else "none"
        shares = [n / row.draws for n in (row.equivalent, row.different, row.covered)]
        parts.append(
            f"| {row.scenario} | {row.quantity} | {where} | {shares[0]:.3f} | {shares[1]:.3f} | "
            f"{row.wrong / row.draws:.3f} ({low:.3f} to {high:.3f}) | {shares[2]:.3f} |\n"
        )
    parts.append(SINGLE_HEAD)
    for row in of_single(share, seed):
        where = "the margin" if row.at_margin else "none"
        parts.append(f"| {row.quantity} | {where} | {row.draws} | {row.equivalent + row.different} |\n")
    return "".join(parts)


def bounds(hits: int, n: int) -> tuple[float, float]:
    """Exact 95 % interval of a share (Clopper and Pearson)."""
    low = float(beta.ppf(0.025, hits, n - hits + 1)) if hits else 0.0
    return low, float(beta.ppf(0.975, hits + 1, n - hits)) if hits < n else 1.0


HEAD = """\
# Batches of unequal size

Written by `python -m tests.studies.unequal_batches --write`; nothing here is typed by hand. {draws} pairs a row, seed {seed}. Batches of two to five
specimens, never as many in both; 3 to 30 check stops and a third as many cold ones a specimen, with 2 % of autocorrelated scatter; between specimens
{mu} of mu, {bite} of bite, {wear:.0%} of wear. Margins: 0.03 of mu (level 0.45), 8 % of bite (0.15), 0.8 to 1.25 of wear.

Wrong is `equivalent` at the margin and `different` without a difference. The tests promise 5 % and Holm's correction less; {wanted:.1f} % is what
chance leaves of 5 % over 1,000 pairs (binomial, 98 %).

| batches | question | true difference | equivalent | different | wrong (95 % interval) | 95 % interval holds the truth |
|---|---|---|---|---|---|---|
"""
SINGLE_HEAD = """
## One specimen on one side

| question | true difference | pairs | answers other than undecided |
|---|---|---|---|
"""


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--share", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true")
    arguments = parser.parse_args()
    text = page(arguments.share, arguments.seed)
    print(text)
    if arguments.write:
        (Path(__file__).parents[2] / "docs" / "unequal_batches_study.md").write_text(text)


if __name__ == "__main__":
    main()
