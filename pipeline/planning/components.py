"""How much stops, specimens and rigs scatter, as planning takes it: what the archive says, with its interval.

A value of a specimen has the variance

    specimen^2 + occasion^2 + stop^2 g(n)

with g(n) what n stops leave of a stop's scatter (`left_of`), specimen the scatter between specimens of a batch (that
of a specimen's own mounting on its day in it, where the archive does not part them). Both ends of the specimens' sd
count: from four specimens it is known to a factor of three, and a plan that holds for the best estimate alone is a hope.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipeline.drift.noise import Pooled
from pipeline.drift.repeatability import variance_of_mean

Quantity = Literal["mu", "bite", "wear"]
Case = Literal["as found", "pessimistic"]
CASES: tuple[Case, ...] = ("as found", "pessimistic")


@dataclass(frozen=True)
class Component:
    """A standard deviation with its 95 % interval and degrees of freedom; high None: no upper end is known."""

    sd: float
    low: float | None
    high: float | None
    dof: float
    source: str

    def of(self, case: Case) -> float | None:
        """The sd for a case; None where the pessimistic end is not known."""
        return self.sd if case == "as found" else self.high


@dataclass(frozen=True)
class Stops:
    """Scatter of single stops of a specimen (its value's unit): sd of a stop, correlation of neighbours, sd of a shift
    common to a block; readings instead of stops have neither of the last two."""

    sd: float
    autocorrelation: float = 0.0
    block_sd: float = 0.0

    def left(self, blocks: Sequence[int]) -> float:
        """Standard deviation of the mean of stops in blocks of these sizes."""
        if not sum(blocks):
            return math.inf
        return math.sqrt(self.sd**2 * left_of(blocks, self.autocorrelation) + self.shift(blocks) ** 2)

    def shift(self, blocks: Sequence[int]) -> float:
        """The part of it from shifts common to a block."""
        share = np.array(blocks, float) / sum(blocks)
        return self.block_sd * float(np.sqrt(share @ share))


def left_of(blocks: Sequence[int], autocorrelation: float) -> float:
    """Variance of the mean of stops over that of one: blocks of neighbours with a first-order autocorrelation, blocks
    independent of each other. 1 / n for independent stops."""
    one = Pooled(1.0, autocorrelation, 0.0, 0)
    return sum(n**2 * variance_of_mean(n, one) for n in blocks) / sum(blocks) ** 2


@dataclass(frozen=True)
class Scatter:
    """What planning knows of one quantity: its level, the specimens' scatter and that of what they are read from.

    specimens: how many each batch of the archive has, in the order of the batches; read: what a value was read from.
    """

    quantity: Quantity
    level: float
    specimen: Component
    stops: Stops
    specimens: dict[str, int]
    read: str

    def of_value(self, blocks: Sequence[int], case: Case = "as found") -> float | None:
        """Standard deviation of a specimen's value from stops in blocks of these sizes; None where the case's end is
        not known."""
        between = self.specimen.of(case)
        return None if between is None else math.hypot(between, self.stops.left(blocks))

    @property
    def dof(self) -> int:
        """Degrees of freedom of the pooled scatter that the archive's batches give."""
        return sum(n - 1 for n in self.specimens.values())
