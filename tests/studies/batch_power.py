"""Operating characteristic of the three answers about batches, by simulation through the pipeline's own
functions.

    python -m tests.studies.batch_power [--share 1.0] [--seed 1] [--write]

Batches with a known difference are drawn, specimens within them scatter, and the answers are counted: how
often `equivalent`, `different`, `undecided`; how often a wrong one; how often the 95 % interval holds the
truth; what unlike scatter, heavy tails and one-specimen batches do; and whether the number of specimens
that an undecided pair asks for does decide it. With --write the figures go to docs/batch_power_study.md.
"""

import argparse
import itertools
import math
from collections import Counter
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy.stats import beta

from pipeline.archive.targets import Target
from pipeline.batches import compare, equivalence, mixed, power
from pipeline.batches.equivalence import Estimate
from pipeline.batches.specimens import SpecimenTest
from pipeline.method.batches import Batches
from tests.makers import stops_frame

MARGIN, LEVEL = 0.03, 0.45
DRAWS, STOP_DRAWS = 2000, 120
SCATTERS = (0.006, 0.0135)
DIFFERENCES = (0.0, 0.015, 0.03, 0.045, 0.06)
SPECIMENS = (2, 3, 4, 6)


class Row(NamedTuple):
    """A scenario's counts over `draws` pairs: answers, intervals that hold the true difference."""

    scenario: str
    difference: float
    draws: int
    equivalent: int
    different: int
    covered: int

    @property
    def undecided(self) -> int:
        return self.draws - self.equivalent - self.different


def answers(values: np.ndarray, batch: list[int], variances: np.ndarray | None = None) -> list[tuple[str, Estimate]]:
    """The answer and the estimate of every pair, as the batch stage decides them."""
    fitted = mixed.fit(values, batch, variances)
    pairs = [Estimate(*mixed.contrast(fitted, a, b), fitted.df) for a, b in itertools.combinations(fitted.batches, 2)]
    adjusted = equivalence.holm([equivalence.p_difference(e) for e in pairs])
    return [
        (equivalence.verdict(e, -MARGIN, MARGIN, p), e) for e, p in zip(pairs, adjusted, strict=True) if p is not None
    ]


def counted(scenario: str, difference: float, draws: int, rng: np.random.Generator, draw) -> Row:
    """Answers about batches 0 and 1, batch 0 higher by `difference`; `draw(rng)` gives values and batches."""
    tally: Counter[str] = Counter()
    for _ in range(draws):
        values, batch, *known = draw(rng)
        values = values + difference * (np.array(batch) == 0)
        answer, estimate = answers(values, batch, *known)[0]
        low, high = equivalence.interval(estimate)
        tally[answer] += 1
        tally["covered"] += low <= difference <= high
    return Row(scenario, difference, draws, tally["equivalent"], tally["different"], tally["covered"])


def normal(counts: list[int], sd: float):
    """Specimens of the batches, normal about a common level."""
    batch = [b for b, n in enumerate(counts) for _ in range(n)]
    return lambda rng: (LEVEL + rng.normal(0, sd, len(batch)), batch)


def main_table(share: float, seed: int) -> list[tuple[int, float, Row, float, float]]:
    """(specimens each, scatter, counted, computed power of equivalent, of different) for two batches."""
    draws, rows = max(round(DRAWS * share), 40), []
    for n, sd, difference in itertools.product(SPECIMENS, SCATTERS, DIFFERENCES):
        rng = np.random.default_rng([seed, n, round(sd * 1e5), round(difference * 1e5)])
        row = counted(f"{n} specimens each", difference, draws, rng, normal([n, n], sd))
        se, df = sd * math.sqrt(2 / n), 2 * n - 2
        computed = [f(difference, se, df, -MARGIN, MARGIN) for f in (power.power_equivalent, power.power_different)]
        rows.append((n, sd, row, *computed))
    return rows


def harder(share: float, seed: int) -> list[Row]:
    """Scenarios beyond the model: unlike scatter, heavy tails, unlike numbers, further batches."""
    sd, draws, rows = 0.008, max(round(DRAWS * share), 40), []
    heavy = [0] * 3 + [1] * 3
    unlike = np.array([0.5] * 3 + [1.5] * 3)
    counts_u = 0.02**2 / np.array([4, 12, 30, 6, 20, 3, 12])
    scenarios = {
        "3 + 3, as the model has it": normal([3, 3], sd),
        "3 + 3, scatter of one batch three times the other's": lambda rng: (LEVEL + rng.normal(0, sd * unlike), heavy),
        "3 + 3, heavy tails (t with 4 degrees of freedom)": lambda rng: (
            LEVEL + sd / math.sqrt(2) * rng.standard_t(4, 6), heavy),
        "5 + 2": normal([5, 2], sd),
        "2 + 2 beside two more batches of 2": normal([2, 2, 2, 2], sd),
        "3 + 2 + 2, 3 to 30 stops a specimen": lambda rng: (
            LEVEL + rng.normal(0, np.sqrt(sd**2 + counts_u)), [0, 0, 0, 1, 1, 2, 2], counts_u),
    }  # fmt: skip
    for index, (name, draw) in enumerate(scenarios.items()):
        for difference in (0.0, MARGIN):
            rng = np.random.default_rng([seed, 77, index, round(difference * 1e5)])
            rows.append(counted(name, difference, draws, rng, draw))
    return rows


class StopRow(NamedTuple):
    """Whole comparisons from stops: how often both like batches come out as such and the odd one as
    different.
    """

    program: str
    draws: int
    like_equivalent: int
    odd_different: int
    like_different: int
    odd_equivalent: int


def specimen_tests(rng: np.random.Generator, odd: float, stops: int, specimens: int) -> list[SpecimenTest]:
    """Three batches, the third lower by `odd`; stops with an autocorrelated scatter of 2 % about their
    specimen.
    """
    tests = []
    for batch in range(3):
        for letter in "ABCDEFGH"[:specimens]:
            level = LEVEL - odd * (batch == 2) + rng.normal(0, 0.006)
            noise = np.zeros(stops)
            step = rng.normal(0, 0.02 * math.sqrt(1 - 0.3**2), stops)
            for i in range(stops):
                noise[i] = 0.3 * noise[i - 1] + step[i] if i else step[i]
            frame = stops_frame(stops, purpose="check", mu=level * (1 + noise))
            tests.append(SpecimenTest(f"{batch}{letter}", f"b{batch + 1}", letter, frame))
    return tests


def from_stops(share: float, seed: int) -> list[StopRow]:
    """The whole comparison of three batches, two alike and one lower by 0.05, for two lengths of program."""
    rows = []
    for name, stops, specimens in (("2 specimens, 12 checks", 12, 2), ("3 specimens, 24 checks", 24, 3)):
        rng = np.random.default_rng([seed, 5, stops])
        draws, tally = max(round(STOP_DRAWS * share), 6), Counter()
        target = Target(compound="x", mu_batch_margin=MARGIN)
        for _ in range(draws):
            found = compare.compare(
                specimen_tests(rng, 0.05, stops, specimens), shape=None, at_reference=None, target=target, settings=Batches()
            )  # fmt: skip
            verdicts = [pair.mu_verdict for pair in found.pairs]
            tally["like"] += verdicts[0] == "equivalent"
            tally["odd"] += verdicts[1:] == ["different", "different"]
            tally["like_wrong"] += verdicts[0] == "different"
            tally["odd_wrong"] += "equivalent" in verdicts[1:]
        rows.append(StopRow(name, draws, tally["like"], tally["odd"], tally["like_wrong"], tally["odd_wrong"]))
    return rows


def advice(share: float, seed: int) -> list[tuple[float, float, int | None, float]]:
    """(scatter, true difference, specimens asked for, share then decided rightly) of the plan for an open
    question.
    """
    draws, rows = max(round(DRAWS * share), 40), []
    for sd, difference in itertools.product((0.006, 0.01, 0.0135), (0.0, 0.01, 0.06)):
        needed = power.specimens_to_decide(difference, sd, -MARGIN, MARGIN)
        if needed is None:
            rows.append((sd, difference, None, float("nan")))
            continue
        rng = np.random.default_rng([seed, 9, round(sd * 1e5), round(difference * 1e5)])
        row = counted("plan", difference, draws, rng, normal([needed, needed], sd))
        right = row.equivalent if difference < MARGIN else row.different
        rows.append((sd, difference, needed, right / draws))
    return rows


def bounds(hits: int, n: int) -> tuple[float, float]:
    """Exact 95 % interval of a share (Clopper and Pearson)."""
    low = float(beta.ppf(0.025, hits, n - hits + 1)) if hits else 0.0
    return low, float(beta.ppf(0.975, hits + 1, n - hits)) if hits < n else 1.0


def page(share: float, seed: int) -> str:
    """The study as a page."""
    parts = [HEAD.format(margin=MARGIN, draws=max(round(DRAWS * share), 40), seed=seed), MAIN_HEAD]
    for n, sd, row, equivalent, different in main_table(share, seed):
        shares = [x / row.draws for x in (row.equivalent, row.different, row.undecided, row.covered)]
        parts.append(
            f"| {n} | {sd:.4f} | {row.difference:.3f} | {shares[0]:.3f} ({equivalent:.3f}) | {shares[1]:.3f} "
            f"({different:.3f}) | {shares[2]:.3f} | {shares[3]:.3f} |\n"
        )
    parts.append(HARD_HEAD)
    for row in harder(share, seed):
        wrong = row.equivalent if row.difference >= MARGIN else row.different
        low, high = bounds(wrong, row.draws)
        parts.append(
            f"| {row.scenario} | {row.difference:.3f} | {wrong / row.draws:.3f} ({low:.3f} to {high:.3f}) "
            f"| {row.covered / row.draws:.3f} |\n"
        )
    parts.append(STOPS_HEAD)
    for s in from_stops(share, seed):
        parts.append(
            f"| {s.program} | {s.draws} | {s.like_equivalent / s.draws:.3f} | {s.odd_different / s.draws:.3f} "
            f"| {s.like_different} | {s.odd_equivalent} |\n"
        )
    parts.append(PLAN_HEAD)
    for sd, difference, needed, right in advice(share, seed):
        said = "more than 60" if needed is None else str(needed)
        reached = "not tried" if needed is None else f"{right:.3f}"
        parts.append(f"| {sd:.4f} | {difference:.3f} | {said} | {reached} |\n")
    return "".join(parts)


HEAD = """\
# What the batch comparison can and cannot tell

Written by `python -m tests.studies.batch_power --write`; nothing here is typed by hand. Margin {margin} of
mu, level 0.45, {draws} simulated comparisons a row, seed {seed}. Scatter is the standard deviation between
specimens of a batch.

"""
MAIN_HEAD = """\
## Two batches

Share of each answer, in brackets the one computed without simulation; the last column is how often the 95 %
interval of the difference holds the truth. A true difference of 0.030 is the margin itself: `equivalent`
there is wrong.

| specimens each | scatter | true difference | equivalent | different | undecided | interval holds |
|---|---|---|---|---|---|---|
"""
HARD_HEAD = """
## Where the model does not hold quite

Scatter 0.008. Wrong answers: `different` where there is no difference, `equivalent` at the margin (5 % is
what the tests promise).

| specimens | true difference | wrong answers (95 % interval) | interval holds |
|---|---|---|---|
"""
STOPS_HEAD = """
## From stops: two batches alike, one lower by 0.05

Whole comparisons from tables of stops with 2 % autocorrelated scatter and 0.006 between specimens.

| program | draws | like: equivalent | odd: different from both | like: different (count) | odd: equivalent (count) |
|---|---|---|---|---|---|
"""
PLAN_HEAD = """
## Does the number of specimens asked for decide it?

Specimens of each batch that an open question asks for at a wanted chance of 80 %, and how often they then
gave the right answer.

| scatter | true difference | specimens asked for | right answers |
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
        (Path(__file__).parents[2] / "docs" / "batch_power_study.md").write_text(text)


if __name__ == "__main__":
    main()
