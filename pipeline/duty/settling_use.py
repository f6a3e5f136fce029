"""The test that runs one use of the duty on the rig: its own mix of stops, its cold start with them.

At the warmest opening that nothing else speaks against: what it loses there, one use at that opening loses (`pipeline.duty.mixed_use`), and
colder openings no less. No bound of a single braking is needed, so that it settles what no test of alike stops does, where a use's cold
start alone may cost as much as the target accepts. Of openings that are nearly alike it is the warmest itself: run at a colder one, a
film that it shows would leave the warmer ones open.

How warm the duty's brakings are is known within an interval, and a film may grow at its lower end that does not at the temperatures as settled. So
the use is run at these, where a loss rules the opening out, and as cold as it may be, where none frees it of reservation.

A braking's stops are put together where they begin within BAND_K. The cold program's blocks follow each other from warm to cold, so that stops which may
clear a film come before those that may leave one and its loss is the most that these stops can bring; the warm program's from cold to warm, so
that its loss is the least. What begins colder than the rig's air lets a disc cool down to begins there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.constants import ZERO_C, Array
from pipeline.duty.limits import Run
from pipeline.duty.places import Places
from pipeline.duty.settling_blocks import Gentle, Rig, on_rig
from pipeline.results.duty import RigCooling

BAND_K = 2.0  # within which a braking's stops are run as one block: either end is half of it off, inside what counts as one place
ABOVE_AIR_K, USUAL_AIR_C = 6.0, 25.0  # how near the air a rig cools a disc in reasonable time
MOST_BLOCKS = 80


@dataclass(frozen=True)
class WholeUse:
    """Opening of the sweep, and the stops of the programs that are run there: as cold as the duty may be, then, where that is something
    else, as it is settled.
    """

    k: int
    programs: tuple[tuple[Gentle, ...], ...]

    @property
    def count(self) -> int:
        """Stops of the longest program."""
        return max(sum(one.stops for one in stops) for stops in self.programs)

    def mean(self, name: str) -> float:
        """Of the stops' power, temperature or energy, each as often as it is run."""
        every = [one for stops in self.programs for one in stops]
        return float(np.average([getattr(one, name) for one in every], weights=[one.stops for one in every]))


def whole_use(found: Run, own: NDArray[np.int64], rig: Rig, cooling: RigCooling | str) -> WholeUse | None:
    """The use at the warmest of the openings `own`; None where it has too many different stops to be run as blocks."""
    use = found.losses.use
    k = int(own[use.temperature[-1][:, own].min(axis=0).argmax()])
    air = USUAL_AIR_C if isinstance(cooling, str) else cooling.ambient - ZERO_C
    known = float((use.temperature - use.colder)[..., k].max()) <= BAND_K
    clears = bool(rig.brake.film.may_clear(use.power[:, None], use.temperature[..., k : k + 1]).any())
    ends = (use.temperature,) if known and not clears else (use.colder, use.temperature)
    programs = []
    for number, start in enumerate(ends):
        at = np.maximum(start[..., k], air + ABOVE_AIR_K)
        stops = [on_rig(rig, one) for e in range(len(use.power)) for one in _of_braking(use, at[:, e], e)]
        if not stops or len(stops) > MOST_BLOCKS:
            return None
        programs.append(tuple(sorted(stops, key=lambda one: one.temperature, reverse=not number)))
    return WholeUse(k, tuple(programs))


def _of_braking(use: Places, start: Array, e: int) -> list[Gentle]:
    """One braking's stops through the use from their temperatures in its cycles [c], those that begin alike together."""
    power, energy = float(use.power[e]), float(use.energy[e])
    times = use.times.astype(int)
    kept = times > 0
    found: list[list[int]] = []
    for c in np.flatnonzero(kept)[np.argsort(start[kept], kind="stable")]:
        if found and start[c] - start[found[-1][0]] <= BAND_K:
            found[-1].append(int(c))
        else:
            found.append([int(c)])
    return [
        Gentle(power, round(float(np.average(start[own], weights=times[own])), 1), energy, int(times[own].sum()))
        for own in found
    ]
