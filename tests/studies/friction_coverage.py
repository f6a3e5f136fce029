"""Do the friction bands hold what they say? Simulated compounds with known maps.

    python -m tests.studies.friction_coverage [--share 1.0] [--seed 1] [--write]

Half of the compounds have one specimen, half two to nine in one to three batches (the truth is the mean of
these batches); a quarter has no stop in a wide range of temperatures. Every compound has its own calibration
error, drawn from the uncertainty that the analysis is told. With --write the figures go to
docs/friction_coverage_study.md.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import polars as pl
from scipy import special

from pipeline.friction import bands, posterior, surfaces, window
from pipeline.friction.bands import Curve
from pipeline.friction.comparison import best_map
from pipeline.friction.freedom import neighbours
from pipeline.friction.map import FrictionMap, fit_map
from pipeline.friction.window import End
from pipeline.method.friction import Friction
from tests.friction.makers import P0, W0, Law, compound, one_test, program, some_law

SETTINGS = Friction()
COMMON = 0.008
COMPOUNDS = 200
GAP = (210.0, 390.0)  # degC without a stop, in a quarter of the compounds
ZERO_C = 273.15
SPREADS = (0.0, 0.01, 0.02, 0.04)  # relative, between two specimens


@dataclass(frozen=True)
class Truth:
    """A compound's law and the relative standard deviations between its batches and specimens, flank
    shifts in K.
    """

    law: Law
    batch_sd: float = 0.0
    specimen_sd: float = 0.0
    flank_sd: float = 0.0

    def mu(self, t: np.ndarray, map_: FrictionMap) -> np.ndarray:
        """True mean at degC and the map's reference conditions."""
        r = map_.reference
        return self.law.mu(t, r.pressure / 1e5, r.speed * 30 / np.pi, r.energy_density / 1e6)

    def sd(self, t: np.ndarray, map_: FrictionMap) -> np.ndarray:
        """Standard deviation of a single stop of a further specimen."""
        mu = self.mu(t, map_)
        along = np.gradient(np.log(mu), t) * self.flank_sd
        between = mu * np.sqrt(self.batch_sd**2 + self.specimen_sd**2 + along**2)
        return np.hypot(self.law.sd(mu), between)


@dataclass
class Tally:
    """Shares over compounds of one kind."""

    mean: list[float] = field(default_factory=list)
    tolerance: list[float] = field(default_factory=list)
    ends: list[bool] = field(default_factory=list)
    outside: int = 0
    asked_outside: int = 0
    width: list[float] = field(default_factory=list)
    factor: list[float] = field(default_factory=list)
    form: list[bool] = field(default_factory=list)


def make(rng: np.random.Generator, several: bool, gap: bool) -> tuple[pl.DataFrame, Truth]:
    """Stops of a random compound with a calibration error, and its truth."""
    law = replace(some_law(rng), adds=bool(rng.random() < 0.5))
    plan = None
    if gap:
        plan = program(rng).filter(~pl.col("temperature").is_between(*GAP))
    if not several:
        stops, truth = one_test(law, rng, plan=plan), Truth(law)
    else:
        spread = {"specimen_sd": np.exp(rng.uniform(np.log(0.01), np.log(0.04))), "flank_sd": rng.uniform(0, 5)}
        batches = int(rng.integers(1, 4))
        shifts = rng.normal(0, rng.uniform(0.005, 0.04), batches)
        stops = compound(law, rng, specimens=int(rng.integers(2, 4)), plan=plan, shifts=shifts, **spread)
        mean = float(shifts.mean())
        law = replace(law, cold=law.cold * (1 + mean), hot=law.hot * (1 + mean))
        truth = Truth(law, batch_sd=float(shifts.std()), **spread)
    return stops.with_columns(mu=pl.col("mu") * (1 + COMMON * rng.normal())), truth


def examine(stops: pl.DataFrame, truth: Truth, tally: Tally) -> None:
    """Fit one compound and add what its bands held."""
    map_ = best_map(stops, SETTINGS, temperature="initial").map
    tally.form.append((map_.link == "identity") == truth.law.adds)
    near = neighbours(map_.fit)
    draws = posterior.draws(near)
    curve = bands.curve(
        map_, confidence=SETTINGS.confidence, coverage=SETTINGS.coverage, common=COMMON, near=near, draws=draws
    )
    t = curve.temperature - ZERO_C
    true, sd = truth.mu(t, map_), truth.sd(t, map_)
    tally.mean.append(float(((curve.low <= true) & (true <= curve.high)).mean()))
    held = special.ndtr((curve.tolerance_high - true) / sd) - special.ndtr((curve.tolerance_low - true) / sd)
    tally.tolerance.append(float((held >= SETTINGS.coverage).mean()))
    tally.width.append(float(np.median((curve.high - curve.low) / 2 / curve.mu)))
    tally.factor.append(float(np.median((curve.tolerance_high - curve.tolerance_low) / 2 / sd)))
    wanted = (0.8 * truth.law.hot, 1.25 * truth.law.hot)
    ends = window.widest(curve, wanted)
    if ends is not None:
        drawn = posterior.curves(
            draws, near, map_.link, curve.temperature, np.zeros((curve.temperature.size, len(map_.choice.kept))), COMMON
        )
        ends = window.with_intervals(
            ends, curve, drawn, map_.link, wanted, confidence=SETTINGS.confidence, coverage=SETTINGS.coverage
        )
        for end, outward in zip(ends, (-1, 1), strict=True):
            if end.limited_by == "band":
                tally.ends.append(end_held(end, outward, truth, map_, curve, wanted))
    asked, given = outside_support(map_, stops)
    tally.asked_outside, tally.outside = tally.asked_outside + asked, tally.outside + given


def end_held(
    end: End, outward: int, truth: Truth, map_: FrictionMap, curve: Curve, wanted: tuple[float, float]
) -> bool:
    """Whether the end's interval holds the place where the true band of single stops crosses, or the
    support's end.
    """
    k = curve.stretch[np.argmin(np.abs(curve.temperature - end.temperature))]
    inside = curve.temperature[curve.stretch == k] - ZERO_C
    t = np.linspace(inside[0], inside[-1], 3000)
    half = special.ndtri((1 + SETTINGS.coverage) / 2) * truth.sd(t, map_)
    good = (truth.mu(t, map_) - half >= wanted[0]) & (truth.mu(t, map_) + half <= wanted[1])
    places = list(t[1:][np.diff(good.astype(int)) == -outward])
    edge = -1 if outward > 0 else 0
    if good[edge]:
        places.append(t[edge])
    assert end.low is not None and end.high is not None
    slack = 0.5  # K, the step of the grid that the truth is looked for on
    return any(end.low - ZERO_C - slack <= p <= end.high - ZERO_C + slack for p in places)


def outside_support(map_: FrictionMap, stops: pl.DataFrame) -> tuple[int, int]:
    """Values asked for where no stop is near, and how many of them were given (there should be none)."""
    t = np.sort(stops["temperature_initial_c"].to_numpy())
    asked = np.r_[np.linspace(-50, t[0] - 1, 40), np.linspace(t[-1] + 1, 1200, 60)]
    far = np.linspace(t[0], t[-1], 400)
    gaps = np.diff(t)
    for a, b in zip(t[:-1][gaps > SETTINGS.largest_gap], t[1:][gaps > SETTINGS.largest_gap], strict=True):
        asked = np.r_[asked, far[(far > a + 1) & (far < b - 1)]]
    given = map_.predict(asked + ZERO_C)
    count = int((given.supported | np.isfinite(given.mu) | np.isfinite(given.se)).sum())
    beyond = map_.predict(600.0, np.array([2 * P0 * 1e5 * 2]), np.array([3 * W0 * np.pi / 30]))
    count += int(beyond.supported.sum())
    for surface in surfaces.surfaces(map_):
        if surface.x == "temperature_c":
            x = np.array(surface.x_values)
            where = ((x[:, None] > t[:-1]) & (x[:, None] < t[1:]) & (gaps > SETTINGS.largest_gap)).any(axis=1)
            filled = np.array([[v is not None for v in row] for row in surface.mu])
            asked, count = np.r_[asked, x[where]], count + int(filled[:, where].sum())
    return asked.size + 1, count


def study(share: float, seed: int) -> dict[str, Tally]:
    """Kinds of compound -> tallies."""
    tallies = {"one specimen": Tally(), "several specimens": Tally()}
    for i in range(max(round(COMPOUNDS * share), 4)):
        rng = np.random.default_rng([seed, i])
        several = i % 2 == 1
        stops, truth = make(rng, several, gap=i % 8 >= 6)
        examine(stops, truth, tallies["several specimens" if several else "one specimen"])
    return tallies


def pooled_against_mixed(share: float, seed: int, spreads: tuple[float, ...] = SPREADS) -> list[dict[str, float]]:
    """Two specimens of one batch that differ by a known amount: half width and coverage, specimens told
    apart and not.
    """
    rows = []
    for sd in spreads:
        held = {"mixed": [], "pooled": []}  # type: dict[str, list[float]]
        width = {"mixed": [], "pooled": []}  # type: dict[str, list[float]]
        for i in range(max(round(20 * share), 2)):
            rng = np.random.default_rng([seed, i, round(1e4 * sd)])
            law = replace(some_law(rng), scatter=0.02)
            stops = compound(law, rng, batches=1, specimens=2, specimen_sd=sd)
            truth = Truth(law, specimen_sd=sd)
            for way, table in (("mixed", stops), ("pooled", stops.drop("batch", "specimen"))):
                map_ = fit_map(table, SETTINGS)
                curve = bands.curve(map_, confidence=SETTINGS.confidence, coverage=SETTINGS.coverage, common=1e-6)
                true = truth.mu(curve.temperature - ZERO_C, map_)
                held[way].append(float(((curve.low <= true) & (true <= curve.high)).mean()))
                width[way].append(float(np.median((curve.high - curve.low) / 2 / curve.mu)))
        rows.append(
            {"specimen_sd": sd}
            | {f"{way}_width": float(np.median(width[way])) for way in width}
            | {f"{way}_held": float(np.mean(held[way])) for way in held}
        )
    return rows


def page(tallies: dict[str, Tally], pairs: list[dict[str, float]], compounds: int) -> str:
    """The study's page."""
    lines = [
        "# Do the friction bands hold what they say?",
        "",
        "Written by `python -m tests.studies.friction_coverage --write`; nothing here is typed by hand.",
        "",
        f"{compounds} simulated compounds with known maps of a carbon kind (a flank at 150 to 200 C, 8 to 22 K wide; effects of",
        "pressure, speed and energy that multiply mu in one half and add to it in the other, the analysis choosing; single stops",
        "scatter by 1.2 to 3 %, neighbours alike up to a correlation of 0.4). Half have one specimen; half have 2 to 9 in 1 to 3 batches, which differ by 1 to 4 % (specimens), 0.5 to 4 % (batches) and up to",
        f"5 K in the place of their flank. Every compound has a calibration error drawn from {100 * COMMON:.1f} %, which the",
        "analysis is told. A quarter has no stop between 210 and 390 C.",
        "",
        "| | " + " | ".join(tallies) + " | all |",
        "|---|" + "---|" * (len(tallies) + 1),
    ]
    every = Tally()
    for tally in tallies.values():
        every.mean += tally.mean
        every.tolerance += tally.tolerance
        every.ends += tally.ends
        every.width += tally.width
        every.factor += tally.factor
        every.form += tally.form
        every.outside += tally.outside
        every.asked_outside += tally.asked_outside
    columns = [*tallies.values(), every]

    def row(name: str, values: list[str]) -> None:
        lines.append(f"| {name} | " + " | ".join(values) + " |")

    row("compounds", [str(len(c.mean)) for c in columns])
    row(
        "95 % band of the mean covers the truth, share of supported temperatures",
        [f"{np.mean(c.mean):.3f}" for c in columns],
    )
    row(
        "90 % tolerance band holds its coverage, share of temperatures (wanted 0.95 or more)",
        [f"{np.mean(c.tolerance):.3f}" for c in columns],
    )
    row("window ends inside their 95 % interval", [f"{np.mean(c.ends):.3f} of {len(c.ends)}" for c in columns])
    row("form of the map (effects multiply or add) found", [f"{np.mean(c.form):.2f}" for c in columns])
    row("values given outside the support", [f"{c.outside} of {c.asked_outside} asked" for c in columns])
    row("half width of the mean band, median, of mu", [f"{100 * np.median(c.width):.1f} %" for c in columns])
    row(
        "half width of the tolerance band over the true standard deviation, median",
        [f"{np.median(c.factor):.2f}" for c in columns],
    )
    return "\n".join([*lines, *pairs_section(pairs), ""])


def pairs_section(pairs: list[dict[str, float]]) -> list[str]:
    """The part on two specimens, as lines."""
    lines = [
        "",
        "## Two specimens that differ, and the pooled band",
        "",
        "Two specimens of one batch. Pooled, all stops are taken as if they came from one specimen: the band is narrow, and",
        "wrong, because repeated stops of a specimen say nothing about the next specimen.",
        "",
        "| specimens differ by (sd) | half width, specimens random | it covers | half width, pooled | it covers |",
        "|---|---|---|---|---|",
    ]
    for p in pairs:
        cells = [f"{100 * p['specimen_sd']:.0f} %"]
        for way in ("mixed", "pooled"):
            cells += [f"{100 * p[f'{way}_width']:.1f} %", f"{p[f'{way}_held']:.2f}"]
        lines.append("| " + " | ".join(cells) + " |")
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--share", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    text = page(
        study(options.share, options.seed),
        pooled_against_mixed(options.share, options.seed),
        max(round(COMPOUNDS * options.share), 4),
    )
    print(text)
    if options.write:
        Path("docs/friction_coverage_study.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
