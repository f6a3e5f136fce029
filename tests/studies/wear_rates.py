"""Wear rates and lives from coarse readings: bias, coverage and width, test by test and over a compound's specimens.

    python -m tests.studies.wear_rates [--share 1.0] [--seed 1] [--write]

720 compounds of one to three specimens, read with scatters of 5, 20 and 50 um on scales of 0.01 and 0.05 mm, with and without
repeats, three to twelve intervals: every test is fitted for itself and every compound over its specimens, over 2,000 fits in
all, from cards and wear.csv files on (`tests.studies.wear_readings` writes them). With --write: docs/wear_rates_study.md.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.archive.card import load_card
from pipeline.duty.brake_of_card import worn_of
from pipeline.duty.lives import life, wear_per_cycle
from pipeline.method.wear import Wear
from pipeline.results import model as results
from pipeline.results.wear import ComponentWear, CompoundComponent, CompoundWear
from pipeline.vocabulary import TRACES, empty
from pipeline.wear import compound
from pipeline.wear.exposure import Exposure, kept
from pipeline.wear.members import WearRecord
from pipeline.wear.of_stops import exposure_of_test
from pipeline.wear.readings import read_wear
from pipeline.wear.stage import wear_components
from tests.studies import wear_readings as generator

ROUNDS, LEAST = 2, 5


@dataclass(frozen=True)
class Interval:
    value: float
    low: float
    high: float

    def holds(self, truth: float) -> bool:
        return self.low <= truth <= self.high


@dataclass(frozen=True)
class Fit:
    """One fit beside the truth: rates in um per stop over the truth (None where not given), the plain straight line's, and the
    life of a duty like one of the test's blocks; unlike: whether a duty of stops twice as heavy as any was given a life that
    no identified law carries."""

    case: generator.Case
    level: str
    identified: bool
    readings: Interval | None
    law: Interval | None
    line: Interval | None
    life: Interval | None
    ungrounded: bool


def over(found: results.Interval | None, truth: float) -> Interval | None:
    """An interval of wear.json over the truth; an end that is open lies at infinity."""
    if found is None or found.value is None or found.low is None:
        return None
    return Interval(found.value / truth, found.low / truth, np.inf if found.high is None else found.high / truth)


def shared(component: ComponentWear) -> dict:
    """What a component of a test has in common with one of a compound."""
    return {name: getattr(component, name) for name in ComponentWear.model_fields}


def straight_line(stops: np.ndarray, thickness_um: np.ndarray) -> Interval:
    """Least squares of mean thickness over stops with equal weights: slope and its 95 % interval, by Student's t."""
    from scipy import stats

    fit = stats.linregress(stops, thickness_um)
    half = stats.t.ppf(0.975, len(stops) - 2) * fit.stderr
    return Interval(-fit.slope, -fit.slope - half, -fit.slope + half)


def lives(component: ComponentWear, card, kept: Exposure, truth_um: float) -> Interval | None:
    """Life of a duty of these stops over the truth's, by the projection's own functions."""
    worn = worn_of("disc", CompoundWear(compound="", components={"disc": CompoundComponent(**shared(component))}), card)
    found = life(worn, wear_per_cycle(worn, kept, 1, 0.95))
    return over(found, worn.usable_um / truth_um)


def heavy_duty_has_a_life(component: ComponentWear, card, stops: Exposure, heaviest_mj: float) -> bool:
    """Whether a duty far beyond the test's stops is given a life though no law is identified."""
    worn = worn_of("disc", CompoundWear(compound="", components={"disc": CompoundComponent(**shared(component))}), card)
    if worn.model is not None:
        return False
    heavy = replace(stops, energy_mj=np.full_like(stops.energy_mj, 2.5 * heaviest_mj))
    return life(worn, wear_per_cycle(worn, heavy, 1, 0.95)).value is not None


def first(stops: Exposure, rows: slice) -> Exposure:
    inside = np.zeros(len(stops), bool)
    inside[rows] = True
    return kept(stops, inside)


def fits_of(case: generator.Case, rng: np.random.Generator) -> list[Fit]:
    """All fits of one invented compound: of each test, and of all together."""
    settings, found, inputs = Wear(), [], []
    with tempfile.TemporaryDirectory() as folder:
        made = generator.archive(case, Path(folder), rng)
        block = int(rng.integers(case.intervals))
        for test in made:
            card = load_card(test.folder)
            readings, _ = read_wear(test.folder / "wear.csv")
            inputs.append(WearRecord(card, test.stops, empty(TRACES), [], readings))
            exposed = exposure_of_test(test.stops, empty(TRACES), [], card, settings, "initial")
            disc = wear_components(readings, card, exposed, settings)[0]["disc"]
            found.append(_judged(case, "test", disc, card, exposed.stops, test, block, test.lost, readings))
        together = compound.of_compound(inputs, settings, "initial").components["disc"]
        found.append(_judged(case, "compound", together, card, exposed.stops, made[0], block, made[0].mean, None))
    return found


def _judged(case, level, component, card, stops: Exposure, test: generator.Made, block, loss, readings) -> Fit:
    truth = float(loss.mean())
    law = component.map_and_duty.um_per_stop_per_face if component.map_and_duty else None
    per_block = len(loss) // case.intervals
    rows = slice(block * per_block, (block + 1) * per_block)
    line = None
    if readings is not None:
        mean = readings.group_by("after_stop").agg(pl.col("value").mean()).sort("after_stop")
        raw = straight_line(mean["after_stop"].to_numpy(), mean["value"].to_numpy() * 1e6)
        line = Interval(raw.value / truth, raw.low / truth, raw.high / truth)
    return Fit(
        case, level, component.identified_law is not None, over(component.rates.um_per_stop if component.rates else None, truth),
        over(law, truth / 2), line,
        lives(component, card, first(stops, rows), float(loss[rows].sum())),
        heavy_duty_has_a_life(component, card, first(stops, rows), float(stops.energy_mj.max())),
    )  # fmt: skip


def study(share: float, seed: int) -> list[Fit]:
    """`share` of the whole study's compounds, evenly over its grid."""
    grid = list(product(range(ROUNDS), generator.SCATTERS_UM, generator.SCALES_MM, (1, 3), range(3, 13), (1, 2, 3)))
    some = np.unique(np.linspace(0, len(grid) - 1, max(1, round(share * len(grid)))).round().astype(int))
    out = []
    for index in np.random.default_rng(seed).permutation(len(grid))[: len(some)] if share < 1 else range(len(grid)):
        rng = np.random.default_rng([seed, int(index)])
        _, scatter, scale, repeats, intervals, specimens = grid[index]
        out += fits_of(generator.case(rng, scatter, scale, repeats, intervals, specimens), rng)
    return out


def ratio(found: Iterable[Interval | None]) -> float:
    return float(np.mean([i.value for i in found if i]))


def coverage(found: Iterable[Interval | None]) -> float:
    return float(np.mean([i.holds(1.0) for i in found if i]))


def width(found: Iterable[Interval | None]) -> float:
    """Median half-width over the truth."""
    return float(np.median([(i.high - i.low) / 2 for i in found if i]))


def too_long(found: Iterable[Interval | None]) -> float:
    """Share of lives whose lower end lies above the truth."""
    return float(np.mean([i.low > 1.0 for i in found if i]))


SPLITS: tuple[tuple[str, Callable[[Fit], object]], ...] = (
    ("scatter (µm)", lambda f: f.case.scatter_um),
    ("scale (mm)", lambda f: f.case.scale_mm),
    ("readings of a point", lambda f: f.case.repeats),
    ("intervals", lambda f: "3 and 4" if f.case.intervals < LEAST else "5 to 8" if f.case.intervals < 9 else "9 to 12"),
    ("specimens", lambda f: f.case.specimens),
    ("program", lambda f: f.case.kind),
    ("half the scatter common to an occasion", lambda f: "yes" if f.case.common else "no"),
)


def page(found: list[Fit]) -> str:
    from tests.studies.wear_rates_page import text

    return text(found)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--share", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    written = page(study(options.share, options.seed))
    if options.write:
        (Path(__file__).parents[2] / "docs" / "wear_rates_study.md").write_text(written, encoding="utf-8")
    print(written)


if __name__ == "__main__":
    main()
