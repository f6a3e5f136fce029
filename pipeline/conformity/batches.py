"""Figures of each batch that a target asks for beyond what the compound's files hold: its disc wear, its life on a duty.

Disc wear: the batch's law over the map and duty blocks of all tests of the compound, so that batches are held against the limit
in one program. Without a law each test's own loss over its own blocks: the specimens of a batch are then the replicates, their
logarithms go through the model of the batch comparison; where no batch has two, the interval is the tests' own.

Life: the batch's own in duty.json, by its own rates of every mechanism.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.batches.answers import level, quantity
from pipeline.batches.specimens import Values
from pipeline.constants import normal_reach
from pipeline.results.duty import DutyProjection
from pipeline.results.model import USUAL_CONFIDENCE, Interval
from pipeline.results.wear import CompoundWear, TestWear


@dataclass(frozen=True)
class TestOfBatch:
    """A test of the compound as the target's requirements see it."""

    test: str
    batch: str
    specimen: str
    wear: TestWear

    __test__ = False  # not a test class, whatever its name says to a test collector


Known = tuple[Interval, float]  # a figure, and the confidence of its interval


def disc_wear(
    tests: Sequence[TestOfBatch], wear: CompoundWear, confidence: float = USUAL_CONFIDENCE
) -> dict[str, Known]:
    """Disc wear of each batch in um per stop and face over map and duty blocks; no value with the reason.

    confidence: of the intervals in the wear files.
    """
    disc = (wear.components or {}).get("disc")
    names = list(dict.fromkeys(test.batch for test in tests))
    if disc is not None and len(names) == 1 and disc.map_and_duty is not None:
        return {names[0]: (disc.map_and_duty.um_per_stop_per_face, confidence)}
    own = {row.batch: row.map_and_duty for row in disc.by_batch if row.law is not None} if disc is not None else {}
    if names and all(own.get(name) is not None for name in names):
        return {name: (found.um_per_stop_per_face, confidence) for name in names if (found := own[name]) is not None}
    return _by_test(tests, confidence)


def _by_test(tests: Sequence[TestOfBatch], confidence: float) -> dict[str, Known]:
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
        variances=np.array(
            [float(np.mean([_sd(one, confidence) ** 2 for one in several])) for several in rows.values()]
        ),
    )
    q = quantity("wear", values, None, None, math.exp)
    names = list(dict.fromkeys(test.batch for test in tests))
    return {batch: _of_batch(batch, level(q, batch), rows, confidence) for batch in names}


def _of_batch(
    batch: str, found: Interval, rows: Mapping[tuple[str, str], Sequence[Interval]], confidence: float
) -> Known:
    if found.value is None:
        return Interval(why="no law gives the wear of its map and duty blocks"), confidence
    if found.low is not None:  # the batch comparison's intervals are of 95 %
        return Interval(value=found.value, low=found.low, high=found.high), USUAL_CONFIDENCE
    own = [one for (name, _), several in rows.items() if name == batch for one in several]
    lows, highs = [x.low for x in own if x.low is not None], [x.high for x in own if x.high is not None]
    whole = Interval(value=found.value, low=min(lows, default=None), high=max(highs, default=None), why=found.why)
    return whole, confidence


def _sd(figure: Interval, confidence: float) -> float:
    """Standard deviation of a figure's logarithm; 0 where it has no interval."""
    if figure.value is None or figure.low is None or figure.high is None:
        return 0.0
    return (figure.high - figure.low) / 2 / normal_reach(confidence) / figure.value


def life(batch: str, duty: DutyProjection) -> Interval:
    """Life of a batch on a duty in km; no value with the reason."""
    row = next((one for one in duty.by_batch if one.batch == batch), None)
    if row is None and duty.by_batch:
        return Interval(why=f"no wear was read in batch {batch}")
    found = duty.life_km if row is None else row.life_km
    if found.value is None:
        return Interval(why=(found.why if row is None else row.life_cycles.why) or "no life is given")
    return Interval(value=found.value, low=found.low, high=found.high, why=found.why)
