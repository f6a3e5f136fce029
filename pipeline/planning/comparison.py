"""What a planned comparison of two batches can show: chance of `equivalent`, smallest difference shown.

The answers are those of `pipeline.batches`: a pooled scatter between specimens, two one-sided tests against the
target's margin, `different` by Student's t with Holm's adjustment over all pairs. Their chances are those of
`pipeline.batches.power`, with the standard error

    se = value_sd sqrt(1/n_a + 1/n_b)         value_sd^2 = specimen^2 + what the planned stops leave

Holm's first step (all pairs count) is taken for `different`: with several batches the chance is at least that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.batches import power
from pipeline.planning.components import Case, Scatter

MOST_SPECIMENS = 60
WIDEST = 200.0  # standard errors within which a difference that can be shown is looked for


@dataclass(frozen=True)
class Design:
    """Two batches compared among others: specimens of each, blocks of stops that a specimen's value is read from.

    further: specimens of each further batch that is compared with them (their scatter is pooled, their pairs count in
    Holm's adjustment). known: standard uncertainty of the difference from states of the rig that differ, in its unit.
    """

    first: int
    second: int
    blocks: tuple[int, ...]
    further: tuple[int, ...] = ()
    known: float = 0.0

    @property
    def df(self) -> int:
        return self.first + self.second - 2 + sum(n - 1 for n in self.further)

    @property
    def pairs(self) -> int:
        batches = 2 + len(self.further)
        return batches * (batches - 1) // 2


@dataclass(frozen=True)
class Shown:
    """What a comparison can show, in the quantity's unit (wear: the logarithm).

    equivalent: chance of `equivalent` where there is no difference; difference: the smallest true difference that is
    called different with the wanted chance; None with `why`.
    """

    value_sd: float | None
    equivalent: float | None
    difference: float | None
    why: str | None = None


@dataclass(frozen=True)
class Rule:
    """How the answers are given: the margin (low, high), significance and the wanted chance."""

    margin: tuple[float, float] | None
    significance: float = 0.05
    wanted: float = 0.8


def shown(scatter: Scatter, design: Design, rule: Rule, case: Case = "as found") -> Shown:
    """What the design can show of the quantity for a case of the specimens' scatter."""
    if not sum(design.blocks):
        return Shown(None, None, None, f"the program has no {scatter.read}")
    sd = scatter.of_value(design.blocks, case)
    if sd is None:
        return Shown(None, None, None, "the archive gives no upper end of the specimens' scatter")
    if min(design.first, design.second) < 2:
        return Shown(sd, None, None, "one specimen cannot tell its batch from itself: two of each batch at least")
    chance = _Chance(sd, scatter, design, rule)
    equivalent = None if rule.margin is None else chance.equivalent(0.0)
    return Shown(sd, equivalent, smallest(chance, rule))


@dataclass(frozen=True)
class _Chance:
    sd: float
    scatter: Scatter
    design: Design
    rule: Rule

    @property
    def se(self) -> float:
        return self.sd * math.sqrt(1 / self.design.first + 1 / self.design.second)

    @property
    def floor(self) -> float:
        """The analysis takes no scatter below that of the stops, as independent ones, over the root of their number."""
        return min(self.scatter.stops.sd / math.sqrt(sum(self.design.blocks)) / self.sd, 1.0)

    def equivalent(self, difference: float) -> float:
        low, high = self.rule.margin or (0.0, 0.0)
        return power.power_equivalent(
            difference, self.se, self.design.df, low, high, self.rule.significance, floor=self.floor,
            known=self.design.known,
        )  # fmt: skip

    def different(self, difference: float) -> float:
        low, high = self.rule.margin or (0.0, 0.0)
        level = self.rule.significance / self.design.pairs
        return power.power_different(
            difference, self.se, self.design.df, low, high, level, floor=self.floor, known=self.design.known
        )


def chances(
    scatter: Scatter, design: Design, rule: Rule, difference: float, case: Case = "as found"
) -> tuple[float, float] | None:
    """(chance of `equivalent`, chance of `different`) at a true difference; None where the case says nothing."""
    sd = scatter.of_value(design.blocks, case)
    if sd is None or min(design.first, design.second) < 2:
        return None
    chance = _Chance(sd, scatter, design, rule)
    return (chance.equivalent(difference) if rule.margin else 0.0), chance.different(difference)


def smallest(chance: _Chance, rule: Rule) -> float | None:
    """Smallest true difference called different with the wanted chance; None beyond WIDEST standard errors.

    Both directions: the larger of the two margins counts, so that a difference of that size is found either way.
    """
    ends = [_smallest(chance, rule, way) for way in (1.0, -1.0)]
    return None if None in ends else max(abs(end) for end in ends if end is not None)


def _smallest(chance: _Chance, rule: Rule, way: float) -> float | None:
    edge = max(map(abs, rule.margin)) if rule.margin else 0.0
    low, high = 0.0, edge + WIDEST * math.hypot(chance.se, chance.design.known)
    if not high > 0 or chance.different(way * high) < rule.wanted:
        return None
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if chance.different(way * middle) >= rule.wanted else (middle, high)
    return way * high


def specimens_needed(
    scatter: Scatter,
    blocks: Sequence[int],
    rule: Rule,
    *,
    present: int | None = None,
    further: Sequence[int] = (),
    difference: float = 0.0,
    known: float = 0.0,
    case: Case = "as found",
) -> int | None:
    """Fewest specimens of the planned batch (of both, where `present` is None) that give the right answer with the
    wanted chance: `equivalent` for a difference within the margin, else `different`. None: more than MOST_SPECIMENS.

    present: specimens that the other batch already has.
    """

    def enough(n: int) -> bool:
        design = Design(n, present if present is not None else n, tuple(blocks), tuple(further), known)
        found = chances(scatter, design, rule, difference, case)
        if found is None:
            return False
        inside = rule.margin is not None and rule.margin[0] < difference < rule.margin[1]
        return found[0 if inside else 1] >= rule.wanted

    if not enough(MOST_SPECIMENS):
        return None
    few, many = 1, MOST_SPECIMENS
    while many - few > 1:
        middle = (few + many) // 2
        few, many = (few, middle) if enough(middle) else (middle, many)
    return many
