"""Where the brakings of a use stand for a film: power, energy and the temperature at which they begin, with its interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.constants import ZERO_C, Array
from pipeline.duty.cycle import Events, History
from pipeline.duty.project import Brake
from pipeline.duty.propagation import coldest_starts

UNIT_MM2 = 1e6


@dataclass(frozen=True)
class Places:
    """Where a use's brakings stand: power W/mm2 and energy J/mm2 of pad [e]; temperature degC at their start [c, e, k]; colder: the
    lower end of its interval by the heat inputs.

    The last cycle is the settled one, run as often as the first ones leave of `cycles`.
    """

    power: Array
    energy: Array
    temperature: Array
    colder: Array
    cycles: int

    @property
    def times(self) -> Array:
        """How often each of the cycles is run in one use [c]."""
        first = len(self.temperature) - 1
        return np.array([*([1.0] * first), float(self.cycles - first)])

    def upto(self, n: int) -> Places:
        """At the first n openings."""
        return replace(self, temperature=self.temperature[..., :n], colder=self.colder[..., :n])


def places(events: Events, settled: History, warming: Sequence[History], cycles: int, brake: Brake) -> Places:
    """The brakings of a use; warming: its first cycles at the same openings."""
    area = brake.rubbing.friction_area
    power = events.energy / events.brake_time / area / UNIT_MM2
    histories = [*warming[:cycles], settled]
    temperature = np.array([h.braking[:, 0] for h in histories]) - ZERO_C
    return Places(power, events.energy / area / UNIT_MM2, temperature, coldest_starts(histories, brake), cycles)
