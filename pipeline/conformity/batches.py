"""Figures of each batch that a target asks for beyond what the compound's files hold: its disc wear, its life on a duty.

Disc wear: the compound's loss per stop over the map and duty blocks of all its tests, times the batch's factor on the compound's
law, so that batches are held against the limit in one program. Without a law each test's own loss over its own blocks: the specimens
of a batch are then the replicates, their logarithms go through the model of the batch comparison; where no batch has two, the
interval is the tests' own.

Life: the compound's life of each component over the batch's factor on the compound's law (geometric mean of its specimens),

    life of batch = life of compound / factor,      the shortest of the components,

its interval that of the compound's life widened by what so few specimens leave open of the factor, s / sqrt(n), s the compound's
scatter between specimens: careful, as both hold that scatter. One factor serves all mechanisms of a law.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.batches.answers import level, quantity
from pipeline.batches.specimens import Values
from pipeline.conformity.decision import HALF_95
from pipeline.results.duty import DutyProjection
from pipeline.results.model import Interval
from pipeline.results.wear import CompoundComponent, CompoundWear, TestWear


@dataclass(frozen=True)
class TestOfBatch:
    """A test of the compound as the target's requirements see it."""

    test: str
    batch: str
    specimen: str
    wear: TestWear

    __test__ = False  # not a test class, whatever its name says to a test collector


def disc_wear(tests: Sequence[TestOfBatch], wear: CompoundWear) -> dict[str, Interval]:
    """Disc wear of each batch in um per stop and face over map and duty blocks; no value with the reason."""
    disc = (wear.components or {}).get("disc")
    whole = disc.map_and_duty.um_per_stop_per_face if disc and disc.map_and_duty else None
    names = list(dict.fromkeys(test.batch for test in tests))
    factors = {name: factor_on(name, disc) for name in names} if disc else {}
    if whole is not None and whole.value is not None and factors and None not in factors.values():
        return {name: _times(whole, *factor) for name, factor in factors.items() if factor is not None}
    return _by_test(tests)


def _by_test(tests: Sequence[TestOfBatch]) -> dict[str, Interval]:
    """The same by each test's own blocks and law."""
    rows: dict[tuple[str, str], list[Interval]] = {}
    for test in tests:
        disc = (test.wear.components or {}).get("disc")
        found = disc.map_and_duty.um_per_stop_per_face if disc and disc.map_and_duty else None
        if found is not None and found.value is not None and found.value > 0:
            rows.setdefault((test.batch, test.specimen), []).append(found)
    logs = {key: [math.log(one.value) for one in several if one.value] for key, several in rows.items()}
    values = Values(
        specimens=tuple(rows),
        values=np.array([float(np.mean(own)) for own in logs.values()]),
        variances=np.array([float(np.mean([_sd(one) ** 2 for one in several])) for several in rows.values()]),
    )
    q = quantity("wear", values, None, None, math.exp)
    names = list(dict.fromkeys(test.batch for test in tests))
    return {batch: _of_batch(batch, level(q, batch), rows) for batch in names}


def _of_batch(batch: str, found: Interval, rows: Mapping[tuple[str, str], Sequence[Interval]]) -> Interval:
    if found.value is None:
        return Interval(why="no law gives the wear of its map and duty blocks")
    if found.low is not None:
        return Interval(value=found.value, low=found.low, high=found.high)
    own = [one for (name, _), several in rows.items() if name == batch for one in several]
    lows, highs = [x.low for x in own if x.low is not None], [x.high for x in own if x.high is not None]
    return Interval(value=found.value, low=min(lows, default=None), high=max(highs, default=None), why=found.why)


def _sd(figure: Interval) -> float:
    """Standard deviation of a figure's logarithm; 0 where it has no interval."""
    if figure.value is None or figure.low is None or figure.high is None:
        return 0.0
    return (figure.high - figure.low) / 2 / HALF_95 / figure.value


def life(batch: str, duty: DutyProjection, wear: CompoundWear) -> Interval:
    """Life of a batch on a duty in km; no value with the reason."""
    if duty.life_km.value is None or not duty.life_cycles.value:
        return Interval(why=duty.life_km.why or "no life is given")
    km = duty.life_km.value / duty.life_cycles.value
    lives = [
        _over(projected, *_factor(batch, kind, wear))
        for kind, projected in duty.life_by_component.items()
        if projected.value is not None
    ]
    shortest = min(lives, key=lambda one: one.value or math.inf, default=Interval(why="no component has a life"))
    return Interval(
        value=shortest.value and shortest.value * km,
        low=min((one.low * km for one in lives if one.low is not None), default=None),
        high=None if shortest.high is None else shortest.high * km,
        why=shortest.why,
    )


def _factor(batch: str, kind: str, wear: CompoundWear) -> tuple[float, float]:
    """(the batch's loss over the compound's law, standard deviation of its logarithm); of several pads the largest."""
    parts = [c for name, c in (wear.components or {}).items() if name.startswith(kind)]
    found = [factor for part in parts if (factor := factor_on(batch, part)) is not None]
    return max(found, default=(1.0, 0.0))


def factor_on(batch: str, part: CompoundComponent) -> tuple[float, float] | None:
    """(loss of the batch over the compound's law, standard deviation of its logarithm); None without a specimen."""
    logs: dict[str, list[float]] = {}
    for row in part.specimens:
        if row.batch == batch and row.factor.value is not None and row.factor.value > 0:
            logs.setdefault(row.specimen, []).append(math.log(row.factor.value))
    if not logs:
        return None
    share = part.specimen_scatter.share if part.specimen_scatter else 0.0
    mean = float(np.mean([np.mean(own) for own in logs.values()]))
    return math.exp(mean), share / math.sqrt(len(logs))


def _times(figure: Interval, factor: float, sd: float) -> Interval:
    """The figure times the factor, its interval widened by that of the factor."""
    return _over(figure, 1 / factor, sd)


def _over(projected: Interval, factor: float, sd: float) -> Interval:
    """The figure over the factor, its interval widened by that of the factor."""
    assert projected.value is not None
    ends: list[float | None] = []
    for end in (projected.low, projected.high):
        if end is None or end <= 0:
            ends.append(None)
            continue
        own = math.log(end / projected.value)
        ends.append(projected.value / factor * math.exp(math.copysign(math.hypot(own, HALF_95 * sd), own)))
    return Interval(value=projected.value / factor, low=ends[0], high=ends[1])
