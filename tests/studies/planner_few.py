"""Glazing, window ends and the wear law as planned, against simulated tests through the real analysis: few runs each.

    python -m tests.studies.planner_few [--runs 100] [--seed 1] [--write]

Beside the planner's study of batches (`tests.studies.planner`). The stops are invented here: friction over temperature is a climb
between two levels with a fall at the hot end, glaze grows in proportion to the gentle stops and is worn off by the first
high-energy ones, neighbouring stops are alike; wear is integrated over fine histories (`tests.wear.makers`). Nothing of it
is the map's, the drift's, the wear laws' or the planner's. With --write the figures go to docs/planner_few_study.md.
"""

from __future__ import annotations

import argparse
import math
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.drift.analysis import analyse
from pipeline.drift.noise import Repeatability
from pipeline.friction import result
from pipeline.friction.map import fit_map
from pipeline.friction.wanted import Wanted
from pipeline.method import Method
from pipeline.planning import ends, glaze, life
from pipeline.results.friction_map import EndInterval
from pipeline.results.wear import Fixed, Parameter, Predictor
from pipeline.wear.compound import pooled_over
from pipeline.wear.mass import MassLoss
from pipeline.wear.members import Member, WearRecord
from pipeline.wear.of_stops import ExposureOfTest
from tests.makers import stops_frame
from tests.wear import makers
from tests.wear.test_planned import card

METHOD, WANTED = Method(), Wanted(mu=(0.34, 0.6))
STOP, ALIKE, SPECIMEN = 0.015, 0.3, 0.008
TEMPERATURES = (60, 90, 120, 140, 160, 180, 200, 240, 280, 340, 400, 460, 520, 560, 600, 640)
SPECIMENS = (2, 4)


def alike(rng: np.random.Generator, count: int) -> np.ndarray:
    """Scatter of neighbouring stops, relative."""
    x = rng.normal(size=count)
    for k in range(1, count):
        x[k] = ALIKE * x[k - 1] + math.sqrt(1 - ALIKE**2) * x[k]
    return STOP * x


# ---------------------------------------------------------------- glazing

PROGRAM = (
    ("check 1", "check", 6),
    ("gentle", "duty", 24),
    ("check 2", "check", 6),
    ("hard", "duty", 8),
    ("check 3", "check", 6),
)
CONDITIONS = {"check": (300.0, 8.5, 25.0), "gentle": (150.0, 1.4, 7.0), "hard": (300.0, 14.0, 42.0)}  # degC, W/mm2, bar


def glazed(loss: float, rng: np.random.Generator | None) -> pl.DataFrame:
    """The program's stops with a glaze that costs `loss` at the second checks; nothing scatters without `rng`."""
    names = [name for name, _, n in PROGRAM for _ in range(n)]
    purpose = [p for _, p, n in PROGRAM for _ in range(n)]
    at = np.array([CONDITIONS[name.split()[0]] for name in names])
    state = np.r_[np.zeros(6), np.arange(24) / 24, np.ones(6), np.maximum(0, 1 - np.arange(8) / 3), np.zeros(6)]
    mu = 0.45 * (1 - loss * state)
    if rng is not None:
        mu = mu * np.exp(alike(rng, len(mu)))
    return stops_frame(
        len(names), block=names, purpose=purpose, mu=mu, temperature_initial_c=at[:, 0], target_temperature_c=at[:, 0],
        power_density_w_mm2=at[:, 1], pressure_bar=at[:, 2], target_pressure_bar=at[:, 2], pressure_plateau_bar=at[:, 2],
        speed_start_rpm=1450.0, speed_end_rpm=850.0,
    )  # fmt: skip


class Found(NamedTuple):
    """A loss planned to be found with a chance, how often it was, and how often it was called glazing-like."""

    loss: float
    planned: float
    came: float
    named: float
    runs: int


def glazing(runs: int, seed: int) -> list[Found]:
    """At no loss (false alarms), at the loss that the planner says is found with 80 %, and at half as much again."""
    noise = Repeatability(STOP, ALIKE, 0.05, 0.001, 1.0, 200.0)
    plan = glaze.foreseen(glazed(0.0, None), noise, METHOD.drift, 0.8)
    assert plan.loss is not None, plan.why
    curve = np.array(plan.chance).T
    rows = []
    for number, loss in enumerate((0.0, plan.loss, 1.5 * plan.loss)):
        rng = np.random.default_rng([seed, 31, number])
        verdicts = [analyse(glazed(loss, rng), METHOD.drift, noise).verdict for _ in range(runs)]
        planned = METHOD.drift.false_alarm_rate if loss == 0 else float(np.interp(loss, *curve))
        rows.append(
            Found(loss, planned, sum(v != "none" for v in verdicts) / runs, verdicts.count("glazing-like") / runs, runs)
        )
    return rows


# ---------------------------------------------------------------- window ends


def friction(celsius: np.ndarray) -> np.ndarray:
    climb = 0.18 + 0.27 / (1 + np.exp(-(celsius - 150) / 18))
    return climb - 0.0012 * np.maximum(celsius - 480, 0)


def mapped(specimens: int, rng: np.random.Generator | None) -> pl.DataFrame:
    """Tests of so many specimens: two stops at each temperature and checks; the bare plan without `rng`."""
    at = np.r_[np.repeat(TEMPERATURES, 2), np.full(12, 300)].astype(float)
    purpose = ["map"] * (2 * len(TEMPERATURES)) + ["check"] * 12
    parts = []
    for number in range(specimens):
        start = at if rng is None else at + rng.normal(0, 1.5, at.size)
        mu = friction(start)
        if rng is not None:
            mu = mu * np.exp(rng.normal(0, SPECIMEN) + alike(rng, at.size))
        frame = stops_frame(at.size, purpose=purpose, mu=mu, temperature_initial_c=start)
        parts.append(frame.with_columns(test=pl.lit(f"t{number}"), batch=pl.lit("b"), specimen=pl.lit(str(number))))
    return pl.concat(parts)


class Placed(NamedTuple):
    """Half width of an end's interval as planned, its mean and the ends' own standard deviation over the runs, K."""

    specimens: int
    end: str
    planned: float
    came: float
    sd: float
    runs: int


@cache
def known_map():
    """The map that the planner knows: of two specimens of an earlier batch."""
    return fit_map(mapped(2, np.random.default_rng(11)), METHOD.friction, cells=True)


def window(runs: int, seed: int) -> list[Placed]:
    rows = []
    for n in SPECIMENS:
        plan = ends.foreseen(known_map(), mapped(1, None), n, SPECIMEN, METHOD, WANTED, 0.0)
        rng, found = np.random.default_rng([seed, 57, n]), []
        for _ in range(runs):
            own = result.of_batch(
                "b", fit_map(mapped(n, rng), METHOD.friction, cells=True), METHOD.friction, WANTED, 0.0
            )
            found += [own.window] if own.window is not None else []
        for end, planned in (("low", plan.low), ("high", plan.high)):
            halves = [h for w in found if (h := half(getattr(w, f"{end}_interval_c"))) is not None]
            places = [getattr(w, f"{end}_c") for w in found]
            rows.append(
                Placed(
                    n,
                    end,
                    planned.half_k or math.nan,
                    float(np.mean(halves)),
                    float(np.std(places, ddof=1)),
                    len(found),
                )
            )
    return rows


def half(interval: EndInterval) -> float | None:
    return None if interval.low is None or interval.high is None else (interval.high - interval.low) / 2


# ---------------------------------------------------------------- wear law

TRUTH = {"a": 7.0, "B": 0.02, "Ea": 150.0}
WEAR_SCATTER, NOISE_UM, POINTS, REPEATS = 0.08, 3.0, 6, 2


class Read(NamedTuple):
    """Half width of a parameter's interval as planned, its mean over the runs, and how often the intervals hold the truth;
    laws: share of runs in which the law was the chosen one."""

    specimens: int
    parameter: str
    unit: str
    planned: float
    came: float
    held: float
    laws: float
    runs: int


def wear_law(runs: int, seed: int) -> list[Read]:
    """An oxidation law over nine blocks from 90 to 670 degC, read after each, on two and on four specimens."""
    rows = []
    for n in SPECIMENS:
        rng = np.random.default_rng([seed, 83, n])
        planned = _planned_law(n)
        found = [_read_law(n, rng) for _ in range(runs)]
        right = [one for one in found if one.chosen == "oxidation"]
        for parameter in planned.parameters:
            own = [law.parameters[parameter.name] for one in right if (law := one.chosen_law) is not None]
            closed = [(p.low, p.high) for p in own if p.low is not None and p.high is not None]
            halves = [(high - low) / 2 for low, high in closed]
            held = sum(low <= TRUTH[parameter.name] <= high for low, high in closed) / max(len(closed), 1)
            half = math.nan if parameter.low is None or parameter.high is None else (parameter.high - parameter.low) / 2
            rows.append(
                Read(n, parameter.name, parameter.unit, half, float(np.mean(halves)), held, len(right) / runs, runs)
            )
    return rows


def _planned_law(specimens: int) -> life.Life:
    units = {"a": "um/MJ", "B": "um/s", "Ea": "kJ/mol"}
    law = Predictor(
        model="oxidation",
        parameters={name: Parameter(value=value, unit=units[name]) for name, value in TRUTH.items()},
        fixed=Fixed(th0_k=makers.TH0_K),
        joint={name: [value] for name, value in TRUTH.items()},
    )
    run = makers.program(makers.WIDE, np.random.default_rng(1)).stops
    reading = life.Reading(NOISE_UM / math.sqrt(POINTS * REPEATS))
    return life.foreseen(law, _card(), run, specimens, WEAR_SCATTER, reading, METHOD)


@cache
def _card():
    names = [f"b{k}" for k in range(len(makers.WIDE))]
    return card(
        [
            {"name": name, "purpose": "map", "kind": "snub", "stops": str(b.stops), "speed": ["1500 rpm", "700 rpm"],
             "pressure": "40 bar", "initial_temperature": f"{b.initial_c} degC"}
            for name, b in zip(names, makers.WIDE, strict=True)
        ]
    )  # fmt: skip


def _read_law(specimens: int, rng: np.random.Generator):
    """What the compound's analysis makes of so many simulated specimens."""
    members = []
    for number in range(specimens):
        made = makers.program(makers.WIDE, rng)
        loss = makers.true_loss("oxidation", TRUTH, made) * math.exp(rng.normal(0, WEAR_SCATTER))
        measured, groups = makers.measured(loss, made, rng, noise_um=NOISE_UM, points=POINTS, repeats=REPEATS)
        count = len(loss)
        names = [f"b{k}" for k, b in enumerate(makers.WIDE) for _ in range(b.stops)]
        exposure = ExposureOfTest(made.stops, np.arange(1, count + 1), names, ["map"] * count, 0, 1.0, "modelled", None)
        own = _card().model_copy(update={"test": f"t{number}", "specimen": str(number)})
        rows = [MassLoss() for _ in measured.wear]
        members.append(
            Member(WearRecord(own, pl.DataFrame(), pl.DataFrame(), [], None), exposure, makers.DISC, measured, groups,
                   np.ones(len(measured.wear), bool), rows)
        )  # fmt: skip
    return pooled_over(members, METHOD.wear)


# ---------------------------------------------------------------- the page


def page(found: list[Found], placed: list[Placed], read: list[Read], seed: int) -> str:
    """The study as a page."""
    parts = [HEAD.format(seed=seed), GLAZING.format(runs=found[0].runs)]
    parts += [
        f"| {100 * row.loss:.1f} | {100 * row.planned:.0f} | {100 * row.came:.0f} | {100 * row.named:.0f} |\n"
        for row in found
    ]
    parts.append(WINDOW.format(runs=placed[0].runs))
    parts += [
        f"| {row.specimens} | {row.end} | {row.planned:.1f} | {row.came:.1f} | {row.sd:.1f} |\n" for row in placed
    ]
    parts.append(WEAR.format(runs=read[0].runs, laws=100 * min(row.laws for row in read)))
    parts += [
        f"| {row.specimens} | {row.parameter}, {row.unit} | {row.planned:.3g} | {row.came:.3g} | {100 * row.held:.0f} |\n"
        for row in read
    ]
    return "".join(parts)


HEAD = """\
# Glazing, window ends and wear laws as planned

Written by `python -m tests.studies.planner_few --write`; nothing here is typed by hand. Seed {seed}. Few runs: they show
that a plan is of the right size, and no more.
"""
GLAZING = """
## Glazing

Six checks, 24 gentle stops under which a glaze grows, six checks, eight high-energy stops, six checks: {runs} tests a row
through the drift analysis. Few runs: one standard error of a share is up to 3 points.

| loss of friction, % | planned chance of an alarm, % | came, % | called glazing-like, % |
|---|---|---|---|
"""
WINDOW = """
## Window ends

Sixteen temperatures of two stops and twelve checks on two and on four specimens, {runs} tests a row fitted by the real
analysis; the planner knows the map of two specimens of an earlier batch. Half widths of the ends' 95 % intervals, and the
standard deviation of the ends themselves.

| specimens | end | planned half width, K | mean half width, K | ends' standard deviation, K |
|---|---|---|---|---|
"""

WEAR = """
## Wear law

Nine blocks of 18 stops from 90 to 670 degC, wear read after each, on two and on four specimens that scatter by 8 %: {runs}
simulated compounds a row, readings with noise, through the compound's wear analysis, which chose the oxidation law in at
least {laws:.0f} % of them. The planner takes the readings without noise.

| specimens | parameter | planned half width | mean half width | intervals that hold the truth, % |
|---|---|---|---|---|
"""


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=100, help="of window ends and wear; three times as many of glazing")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    runs, seed = given.runs, given.seed
    text = page(glazing(3 * runs, seed), window(runs, seed), wear_law(runs, seed), seed)
    print(text)
    if given.write:
        (Path(__file__).parents[2] / "docs" / "planner_few_study.md").write_text(text)


if __name__ == "__main__":
    main()
