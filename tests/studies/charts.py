"""`python -m tests.studies.charts [--runs N] [--write]`: are false alarms of the charts as rare as stated, and how soon
is a step of the rig found?

Values are drawn here, with no part of the charts: normal ones, ones with heavy tails, specimens of batches that
follow each other. `--write` renews docs/charts_study.md.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.laboratory import control
from tests.conftest import REPO

PAGE = REPO / "docs" / "charts_study.md"
STEP = 0.015  # of the rig, relative
HORIZON = 80  # tests after the step within which it is looked for
SEED = 20
Draw = Callable[[np.random.Generator, int], np.ndarray]


def normal(rng: np.random.Generator, n: int) -> np.ndarray:
    return rng.normal(size=n)


def heavy(rng: np.random.Generator, n: int) -> np.ndarray:
    """Student's t on 5 degrees of freedom, of unit variance: now and then a specimen far off."""
    return rng.standard_t(5, size=n) / np.sqrt(5 / 3)


@dataclass(frozen=True)
class Lengths:
    """Values judged, and alarms of the average and signals of single values among them, up to the first alarm."""

    values: int
    alarms: int
    signals: int

    @property
    def average(self) -> float:
        return self.values / max(self.alarms, 1)

    @property
    def single(self) -> float:
        return self.values / max(self.signals, 1)


def in_control(
    runs: int, *, known: bool, draw: Draw = normal, batch: int = 0, length: int = 2500, seed: int = SEED
) -> Lengths:
    """Charts of a rig that does nothing. batch: specimens of a batch before the next one, each with a level of its own
    (0: one level for ever)."""
    rng = np.random.default_rng([seed, runs, known, batch])
    values = alarms = signals = 0
    for _ in range(runs):
        x = draw(rng, length)
        groups = None
        if batch:
            place = np.arange(length) // batch
            x = x + 5 * rng.normal(size=place[-1] + 1)[place]
            groups = [str(p) for p in place]
        found = control.watch(x.tolist(), groups, sigma=1.0 if known else None)
        end = found.moves[0].alarm if found.moves else length - 1
        judged = [p for p in found.points[: end + 1] if p.z is not None]
        values, alarms = values + len(judged), alarms + bool(found.moves)
        signals += sum(p.signals for p in judged)
    return Lengths(values, alarms, signals)


def plugged(runs: int, learnt: int, *, seed: int = SEED) -> float:
    """Share of single values beyond mean +- 3 standard deviations of so few values before, as one in so many."""
    rng = np.random.default_rng([seed, learnt])
    first = rng.normal(size=(runs, learnt))
    next_one = rng.normal(size=runs)
    out = np.abs(next_one - first.mean(axis=1)) > 3 * first.std(axis=1, ddof=1)
    return float(1 / max(out.mean(), 1e-9))


def delays(runs: int, sd: float, before: int, *, known: bool, batch: int = 0, seed: int = SEED) -> np.ndarray:
    """Tests from the step (counted 1) to the first word of the chart, single value or average; inf where none in time.

    Runs with a word before the step are drawn again: they are false alarms."""
    rng = np.random.default_rng([seed, before, known, batch, round(1e4 * sd)])
    found = []
    while len(found) < runs:
        x = sd * rng.normal(size=before + HORIZON)
        groups = None
        if batch:
            place = np.arange(len(x)) // batch
            x = x + 0.05 * rng.normal(size=place[-1] + 1)[place]
            groups = [str(p) for p in place]
        x[before:] += np.log1p(STEP)
        points = control.watch(x.tolist(), groups, sigma=sd if known else None).points
        words = [i for i, p in enumerate(points) if p.signals or p.alarm]
        if words and words[0] < before:
            continue
        found.append(words[0] - before + 1 if words else np.inf)
    return np.array(found)


def lines(runs: int) -> Iterator[str]:
    """The page."""
    single, average = control.run_lengths()
    yield "# Control charts: false alarms, and how soon a step is found\n"
    yield f"By `python -m tests.studies.charts --runs {runs} --write`.\n"
    yield "## In control\n"
    yield (
        f"Stated: one single value in {single:.0f} beyond 3 standard deviations, the average (weight {control.WEIGHT:g}) once in "
        f"{average:.0f} values. Counted up to the first alarm of the average; in brackets the standard error of the count. "
        "The aim is within 10 % with known limits.\n"
    )
    yield "| scatter | values | single: one in | off | average: one in | off |"
    yield "|---|---|---|---|---|---|"
    cases: list[tuple[str, dict[str, object]]] = [
        ("known, one level", {"known": True}),
        ("estimated as values come, one level", {"known": False}),
        ("known, a new batch every 4 tests", {"known": True, "batch": 4}),
        ("estimated, a new batch every 4 tests", {"known": False, "batch": 4}),
        ("estimated, heavy tails (Student's t, 5 degrees of freedom)", {"known": False, "draw": heavy}),
    ]
    for name, how in cases:
        found = in_control(runs, **how)  # type: ignore[arg-type]
        cells = []
        for length, stated, count in ((found.single, single, found.signals), (found.average, average, found.alarms)):
            cells += [f"{length:.0f} ({length / np.sqrt(max(count, 1)):.0f})", f"{100 * (length / stated - 1):+.0f} %"]
        yield f"| {name} | {found.values} | {' | '.join(cells)} |"
    yield (
        "\nSpecimens with heavy tails (one far off now and then) raise several times the alarms that are stated: look at the test that "
        "signals before the rig."
    )
    yield "\nLimits of the mean +- 3 standard deviations of so few values, plugged in as if known, for comparison:\n"
    yield "| values learnt from | simulated: one in | computed: one in |"
    yield "|---|---|---|"
    for learnt in (5, 10, 20, 40):
        yield f"| {learnt} | {plugged(200 * runs, learnt):.0f} | {control.plugged_in(learnt):.0f} |"
    yield f"\n## A step of {100 * STEP:.1f} %\n"
    yield (
        "Tests from the step, the first after it counted as 1, until a single value or the average says so. "
        f"`never`: not within {HORIZON} tests. Scatter: of a test's result between specimens of a batch.\n"
    )
    yield "| scatter (%) | tests before | batches | limits | median | 90 % found by | not found (%) |"
    yield "|---|---|---|---|---|---|---|"
    for sd in (0.005, 0.010, 0.015):
        for before, batch, known in STEPS:
            found_after = delays(runs // 2, sd, before, known=known, batch=batch)
            middle, late = (_tests(np.quantile(found_after, q, method="higher")) for q in (0.5, 0.9))
            what = f"a new one every {batch} tests" if batch else "one"
            yield (
                f"| {100 * sd:.1f} | {before} | {what} | {'known' if known else 'estimated'} | {middle} | {late} | "
                f"{100 * np.mean(~np.isfinite(found_after)):.0f} |"
            )
    yield (
        "\nThe level is always learnt, the scatter is known or learnt too. A step that has not been found within some ten tests is learnt as "
        "the level and is found no more; what is found later is as good as chance (80 tests raise a word in one chart of four): hence the share that is never found, and the use of a known scatter, of a reference batch that lasts, and of "
        "the energy balance. That scatters by some 0.1 to 0.3 % from test to test, and a step of 1.5 % of the torque chain "
        "is three to fifteen of its standard deviations: it is found with the first or second test (with 0.3 %: "
        f"median {_tests(np.median(delays(runs // 2, 0.003, 12, known=False)))}, "
        f"90 % by {_tests(np.quantile(delays(runs // 2, 0.003, 12, known=False), 0.9, method='higher'))}, after 12 tests). "
        "A first specimen of a batch says nothing of the rig: with a new batch every four tests a quarter of them is blind, and a "
        "step between two batches is not seen at all by friction."
    )


STEPS = ((6, 0, True), (6, 0, False), (12, 0, True), (12, 0, False), (24, 0, True), (24, 0, False), (24, 4, True), (24, 4, False),
         (26, 4, True), (26, 4, False))  # fmt: skip


def _tests(value: float) -> str:
    return f"{value:.0f}" if np.isfinite(value) else "never"


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.studies.charts", description=__doc__)
    parser.add_argument("--runs", type=int, default=800, help="charts a line")
    parser.add_argument("--write", action="store_true", help="renew the page")
    given = parser.parse_args()
    text = "\n".join(lines(given.runs)) + "\n"
    if given.write:
        PAGE.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
