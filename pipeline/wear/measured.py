"""Measured wear per friction work, for use where no law is identified: what a block wore, for stops like that block's.

Of the intervals between readings that hold the same blocks (of all tests), and of all after bedding, the mean loss
per MJ with the readings' noise and the specimens' scatter in its interval. An interval of the mean says nothing of
the next use; so it is that of a further use of the kind (`pipeline.wear.further`) and, where the intervals differ
beyond the readings' noise, reaches at least to the fastest interval seen. One interval alone shows no scatter between
uses: its ground says so. An interval that holds a soak without a stop takes no part: its loss is not of work alone.

An entry reads like a law of wear.json for `pipeline.wear.predict`, with `range`: for stops beyond that it has no
ground.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from pipeline.results.wear import Conditions, FittedLaw, MeasuredRate, Parameter, Predictor
from pipeline.wear.chi2 import Problem
from pipeline.wear.exposure import Exposure
from pipeline.wear.further import departures
from pipeline.wear.inference import Inference, infer
from pipeline.wear.joint import draws
from pipeline.wear.laws import design
from pipeline.wear.of_stops import DWELL
from pipeline.wear.predict import beyond, interval

EVERYTHING = "all intervals after bedding"


def measured_rates(
    problem: Problem,
    blocks: Sequence[Sequence[str]],
    aside: np.ndarray,
    names: Sequence[str],
    adapt: Callable[[Problem, np.ndarray], Problem],
    range_of: Callable[[np.ndarray], Conditions],
    confidence: float,
) -> tuple[list[MeasuredRate], str | None]:
    """(entries, why none): of each set of intervals with the same blocks, then of all after bedding.

    problem: of the energy law on all intervals, without specimens' scatter; blocks: of each interval the blocks it
    holds; aside [K]: whether it is of bedding alone, or holds a soak; names: its test; adapt: puts the specimens' scatter into the
    problem of the intervals kept [K]; range_of: what the stops of the intervals kept span.
    """
    use = ~np.asarray(aside, bool)
    if not use.any():
        return [], "no interval between readings lies after the bedding and is free of soaks"
    kinds = {frozenset(b): _named(b) for b, u in zip(blocks, use, strict=True) if u and b}
    sets = [(named, np.array([frozenset(b) == kind for b in blocks]) & use) for kind, named in kinds.items()]
    sets = [one for one in sets if not (one[1] == use).all()] + [(EVERYTHING, use)]
    entries, reasons = [], []
    for over, kept in sets:
        found = _fitted(problem, kept, adapt, confidence)
        if found is None or not np.isfinite(found.intervals).all() or found.intervals[0, 0] <= 0:
            reasons.append(f"the loss over {over} does not differ from zero beyond the readings' noise")
            continue
        tests = sorted({n for n, k in zip(names, kept, strict=True) if k})
        uses = [frozenset(b) for b, k in zip(blocks, kept, strict=True) if k]
        entries.append(_entry(found, over, uses, tests, range_of(kept), confidence))
    return entries, None if entries else "; ".join(reasons)


def _named(blocks: Sequence[str]) -> str:
    """An interval's blocks in words."""
    return " and ".join(blocks) if len(blocks) <= 3 else f"{blocks[0]} to {blocks[-1]} ({len(blocks)} blocks)"


def kinds_of(groups: np.ndarray, block: Sequence[str], purpose: Sequence[str]) -> tuple[list[list[str]], np.ndarray]:
    """(blocks that each interval holds, whether it is of bedding alone or holds a soak) by the groups [K, n] of a test's rows."""
    inside = groups > 0
    blocks = [list(dict.fromkeys(b for b, i in zip(block, row, strict=True) if i and b)) for row in inside]
    of = [{p for p, i in zip(purpose, row, strict=True) if i} for row in inside]
    return blocks, np.array([own <= {"bedding"} or DWELL in own for own in of], bool)


def trusted(chosen: FittedLaw | None, entries: Sequence[MeasuredRate]) -> Predictor | None:
    """What the test's own stops may be predicted by: the chosen law if it is identified, else the measured loss over
    everything.
    """
    if chosen and chosen.identified:
        return chosen
    return next((e for e in entries if e.over == EVERYTHING), None)


def _fitted(
    problem: Problem, kept: np.ndarray, adapt: Callable[[Problem, np.ndarray], Problem], confidence: float
) -> Inference | None:
    part = np.ix_(kept, kept)
    own = replace(
        problem,
        intervals=design(problem.intervals.stops, problem.intervals.groups[kept]),
        y=problem.y[kept],
        covariance=problem.covariance[part],
        occasions=None if problem.occasions is None else problem.occasions[part],
    )
    try:
        return infer(adapt(own, kept), confidence)
    except (ValueError, np.linalg.LinAlgError):
        return None


def _entry(
    found: Inference, over: str, uses: list[frozenset[str]], tests: list[str], span: Conditions, confidence: float
) -> MeasuredRate:
    rate, sets, count = float(found.parameters[0]), draws(found)[:, 0], len(uses)
    differing = max(found.roughness, found.or_rough)
    sets = sets * departures(found, uses)
    if differing:
        sets = _reaching(sets, rate, found, confidence)
    ends = interval(rate, sets, confidence)
    return MeasuredRate(
        model="energy",
        over=over,
        intervals=count,
        tests=tests,
        parameters={"a": Parameter(value=ends.value, low=ends.low, high=ends.high, unit="um/MJ")},
        joint={"a": [float(f"{v:.5g}") for v in sets]},
        span=span,
        differing=differing,
        ground=f"measured over {over} ({count} interval{'s' * (count > 1)} of {len(tests)} "
        f"test{'s' * (len(tests) > 1)}), per friction work; for stops like those only"
        + ("; one interval does not show how far another such use departs" if count == 1 else ""),
    )


def _reaching(sets: np.ndarray, rate: float, found: Inference, confidence: float) -> np.ndarray:
    """Draws stretched about the rate, as a ratio, until their interval reaches the fastest of the intervals' own
    rates.
    """
    fastest = float((found.problem.y / found.problem.intervals.sums.energy_mj).max())
    end = float(np.quantile(sets, (1 + confidence) / 2))
    if not rate < end < fastest:
        return sets
    return rate * (sets / rate) ** (np.log(fastest / rate) / np.log(end / rate))


def fitting(entries: Sequence[MeasuredRate], stops: Exposure) -> tuple[MeasuredRate | None, str]:
    """(the entry for such stops, the reason where there is none): of those whose range holds them all, the fastest
    wearing of single blocks, else the one of everything."""
    holding = [e for e in entries if not beyond(e, stops)]
    single = [e for e in holding if e.over != EVERYTHING] or holding
    if single:
        return max(single, key=lambda e: e.parameters["a"].value or 0.0), ""
    said = "; ".join(beyond(entries[-1], stops)) if entries else ""
    return None, f"the duty's stops are unlike those measured: {said}"
