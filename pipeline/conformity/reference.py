"""Every batch held against the reference batch that the target names, question by question.

Friction, bite and disc wear are the batch comparison's pairs, turned so that the reference is the second; window ends are those of each
batch's own map at the compound's reference conditions; wear by the law and life rest on the batches' factors on the compound's law,
known to s / sqrt(n) (`pipeline.conformity.batches`); fade is the deepest of the batch's tests.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from pipeline.archive.targets import Target
from pipeline.batches.intervals import compared
from pipeline.conformity import batches as of_batches
from pipeline.results.batches import CompoundBatches, Difference, Pair, Quantity, Verdict
from pipeline.results.comparison import Compared
from pipeline.results.compound_friction import CompoundFriction, OfBatch
from pipeline.results.duty import CompoundDuty
from pipeline.results.model import USUAL_CONFIDENCE, Interval
from pipeline.results.targets import AgainstReference
from pipeline.results.wear import CompoundWear, Part

AT = "the compound's reference conditions"


def against_reference(
    target: Target,
    friction: CompoundFriction,
    wear: CompoundWear,
    batches: CompoundBatches,
    duty: CompoundDuty,
    confidence: Mapping[str, float],
) -> tuple[list[AgainstReference], str | None]:
    """(every other batch beside the reference batch, why there is none). confidence: of the intervals by section."""
    name = target.reference_batch
    if name is None:
        return [], None
    counts = {batch.batch: batch.specimens for batch in batches.batches}
    if name not in counts:
        return [], f"reference_batch: no usable test of batch {name}; batches: {', '.join(counts) or 'none'}"
    found = []
    of_friction, of_wear, of_duty = (confidence.get(s, USUAL_CONFIDENCE) for s in ("friction", "wear", "duty"))
    for other in counts:
        if other == name:
            continue
        single = [x for x in (other, name) if counts[x] < 2]
        alone = f"{' and '.join(single)}: one specimen cannot tell its batch from itself" if single else None
        rows = _pairs(other, name, batches) + _windows(other, name, friction, alone, of_friction)
        rows += _wear(other, name, wear, target, alone, of_wear)
        rows.append(_fade(other, name, friction, alone, of_friction))
        rows += _lives(other, name, duty, target, alone, of_duty)
        found.append(AgainstReference(batch=other, rows=rows))
    return found, None


def _pairs(a: str, b: str, batches: CompoundBatches) -> list[Compared]:
    """The batch comparison's three answers with the reference second."""
    pair = next((p for p in batches.pairs if {p.a, p.b} == {a, b}), None)
    if pair is None:
        return []
    asked: tuple[tuple[str, Quantity, Difference], ...] = (
        ("µ at the reference conditions", "mu", pair.mu_difference),
        ("Bite", "bite", pair.bite_difference),
        ("Disc wear per stop, both faces (ratio)", "wear", pair.wear_ratio),
    )
    return [_pair_row(pair, a, batches, question, name, figure) for question, name, figure in asked]


def _pair_row(
    pair: Pair, first: str, batches: CompoundBatches, question: str, name: Quantity, figure: Difference
) -> Compared:
    levels = {
        row.batch: {"mu": row.mu, "bite": row.bite, "wear": row.wear_um_per_stop}[name] for row in batches.batches
    }
    other = pair.b if first == pair.a else pair.a
    margin = batches.margins.get(name)
    verdict: Verdict = pair.verdicts[name]
    return Compared(
        question=question,
        unit="µm" if name == "wear" else "",
        a=_bare(levels[first]),
        b=_bare(levels[other]),
        kind="ratio" if name == "wear" else "difference",
        figure=_bare(figure) if first == pair.a else _turned(figure, name == "wear"),
        margin=None if margin is None else [margin.low, margin.high],
        verdict=verdict,
        conditions="the coldest conditions that all batches have"
        if name == "bite"
        else AT
        if name == "mu"
        else "as run",
        why=pair.whys[name] or pair.caveat or "by the specimens of both",
    )


def _bare(figure: Interval) -> Interval:
    return Interval(value=figure.value, low=figure.low, high=figure.high, why=figure.why)


def _turned(figure: Interval, ratio: bool) -> Interval:
    """The figure of the pair in the other order."""

    def turn(x: float | None) -> float | None:
        return None if x is None else 1 / x if ratio else -x

    return Interval(value=turn(figure.value), low=turn(figure.high), high=turn(figure.low), why=figure.why)


def _windows(a: str, b: str, friction: CompoundFriction, alone: str | None, confidence: float) -> list[Compared]:
    own: Mapping[str, OfBatch] = {row.batch: row for row in friction.by_batch}
    rows = []
    for which in ("lower", "upper"):
        ends = [_end(own.get(name), which) for name in (a, b)]
        refused = alone or next((end.why for end in ends if end.value is not None and end.why), None)
        name = f"Friction window, {which} end"
        rows.append(compared(name, *ends, unit="°C", conditions=AT, refused=refused, confidence=confidence))
    return rows


def _end(row: OfBatch | None, which: str) -> Interval:
    if row is None or row.window is None:
        return Interval(why=(row and row.window_reason) or "the batch has no window of its own")
    w = row.window
    lower = which == "lower"
    value, interval = (w.low_c, w.low_interval_c) if lower else (w.high_c, w.high_interval_c)
    by = w.low_limited_by if lower else w.high_limited_by
    open_ = "an end lies where the data end, or beyond: tests further out would decide it"
    return Interval(
        value=value,
        low=interval.low,
        high=interval.high,
        why=open_ if by == "data" or interval.beyond_data else interval.why,
    )


def _wear(a: str, b: str, wear: CompoundWear, target: Target, alone: str | None, confidence: float) -> list[Compared]:
    """Every part of every component's wear, by the batches' laws; one row with the reason where a component has none."""
    rows = []
    for name, part in (wear.components or {}).items():
        each = {row.batch: row.factors for row in part.by_batch}
        parts: list[Part | None] = list(next((own for own in each.values() if own), {}))
        for one in parts or [None]:
            factors = [each.get(batch, {}).get(one) if one else None for batch in (a, b)]
            intervals = [Interval(why="the batch has no law") if f is None else f for f in factors]
            kind = f"{one.capitalize()} wear" if one else "Wear"
            rows.append(
                compared(
                    f"{kind} of {name.replace('_', ' ')} by the batch's law (ratio)",
                    *intervals,
                    ratio=True,
                    margin=target.wear_batch_ratio,
                    conditions="by the wear law",
                    refused=alone,
                    confidence=confidence,
                )
            )
    return rows


def _fade(a: str, b: str, friction: CompoundFriction, alone: str | None, confidence: float) -> Compared:
    found = []
    for name in (a, b):
        fades = [t.fade for t in friction.tests if t.batch == name and t.fade is not None and t.fade.index is not None]
        worst = min(fades, key=lambda f: f.index if f.index is not None else math.inf, default=None)
        none = Interval(why=f"no fade block of {name}")
        found.append(
            Interval(value=worst.index, low=worst.index_low, high=worst.index_high, why=worst.index_why)
            if worst
            else none
        )
    name = "Fade index, the deepest of either"
    return compared(name, *found, conditions="as run", refused=alone, confidence=confidence)


def _lives(a: str, b: str, duty: CompoundDuty, target: Target, alone: str | None, confidence: float) -> list[Compared]:
    ratio = target.wear_batch_ratio
    margin = (1 / ratio[1], 1 / ratio[0]) if ratio else None
    return [
        compared(f"Life on {one.duty} (ratio)", *(of_batches.life(name, one) for name in (a, b)), unit="km", ratio=True,
                 margin=margin, conditions="the same duty and opening", refused=alone, confidence=confidence)
        for one in duty.duties
    ]  # fmt: skip
