"""Disc temperature over a use: cycles of brakings and cooling, run for many openings at once.

A braking at constant deceleration turns brake_share of the vehicle's kinetic-energy change into heat,
falling with the speed; between brakings the disc cools in the air of the mean speed. Within a use the
disc's temperature carries over from cycle to cycle; the settled cycle is the one that repeats itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from pipeline.archive.duties import DutyCycle
from pipeline.constants import Array, Values
from pipeline.heat import lumped
from pipeline.results.sources import InputName

BRAKING_PARTS = 5  # a braking runs in parts of constant power
COOLING_PARTS = 6  # points of a cool-down that are kept
SETTLED_K = 0.02  # end of a settled cycle against its start
WARM_K = 1.0  # a use is warm when a cycle starts this close to the settled one
MOST_TRIALS, MOST_WARMING, HOTTEST_K = 60, 300, 4000.0


@dataclass(frozen=True)
class Events:
    """One cycle's brakings, arrays [e], SI: energy J of friction work at this brake, times s, speeds m/s."""

    energy: Array
    brake_time: Array
    then: Array
    start: Array
    end: Array
    cooling_speed: Array

    @property
    def seconds(self) -> float:
        """Duration of the cycle."""
        return float((self.brake_time + self.then).sum())


@dataclass(frozen=True)
class Move:
    """Factors on the heat share and on both parts of convection."""

    share: float = 1.0
    h0: float = 1.0
    h1: float = 1.0


Moves = Mapping[InputName, tuple[Move, Move]]  # by heat input, what its nodes do to a cycle


@dataclass(frozen=True)
class Air:
    """Convection h0 + opening h1 v^0.8 of the whole disc, W/K and W/K per (m/s)^0.8, and the ambient in K.

    With `fixed_speed` in m/s the air is the rig's at any speed of the vehicle: its speed on the rig is not
    known. h0 and h1 may be of each opening [k]. moves: what the nodes of heat inputs do to this air and to the heat share.
    """

    h0: Values
    h1: Values
    ambient: float
    fixed_speed: float | None = None
    moves: Moves = field(default_factory=dict)

    def conductance(self, opening: Array, speed: float) -> Array:
        """W/K at openings [k] and one air speed in m/s."""
        at = speed if self.fixed_speed is None else self.fixed_speed
        return lumped.conductance(self.h0, self.h1, opening, at)


@dataclass(frozen=True)
class History:
    """Bulk temperature in K of one cycle at openings [k].

    braking [e, BRAKING_PARTS + 1, k], cooling [e, COOLING_PARTS + 1, k]; cooling's times are equal parts of
    `then`. nodes: by heat input, the same with that input alone at its nodes (`pipeline.heat.propagation`), of those that move it.
    """

    braking: Array
    cooling: Array
    nodes: Mapping[InputName, tuple[History, History]] = field(default_factory=dict)

    def upto(self, n: int) -> History:
        """The first n openings."""
        return self.part(slice(n))

    def part(self, which: slice) -> History:
        """Some of the openings."""
        nodes = {name: (low.part(which), high.part(which)) for name, (low, high) in self.nodes.items()}
        return History(self.braking[:, :, which], self.cooling[:, :, which], nodes)

    @property
    def start(self) -> Array:
        return self.braking[0, 0]

    @property
    def end(self) -> Array:
        return self.cooling[-1, -1]

    def lowest(self) -> Array:
        return np.minimum(self.braking.min(axis=(0, 1)), self.cooling.min(axis=(0, 1)))

    def highest(self) -> Array:
        return np.maximum(self.braking.max(axis=(0, 1)), self.cooling.max(axis=(0, 1)))


def side_by_side(parts: Sequence[History]) -> History:
    """Histories of one duty as one, opening after opening; all with the same nodes."""
    nodes = {
        name: (side_by_side([p.nodes[name][0] for p in parts]), side_by_side([p.nodes[name][1] for p in parts]))
        for name in parts[0].nodes
    }
    return History(
        np.concatenate([p.braking for p in parts], axis=2), np.concatenate([p.cooling for p in parts], axis=2), nodes
    )


def events_of(duty: DutyCycle) -> Events:
    """The cycle's brakings; energy = brake_share x vehicle_mass (v1^2 - v2^2) / 2."""
    columns = np.array([[e.start, e.end, e.brake_time, e.then, e.at] for e in duty.events], float)
    start, end, brake_time, then, at = columns.T
    energy = duty.brake_share * duty.vehicle_mass * (start**2 - end**2) / 2
    return Events(energy, brake_time, then, start, end, at)


def one_cycle(
    at_start: Array, events: Events, disc: lumped.Disc, air: Air, opening: Array, share: Values = 1.0
) -> History:
    """One cycle from temperatures [k] at openings [k]; `share` (one, or [k]) of the friction heat goes into the disc."""
    temperature = np.asarray(at_start, float)
    braking, cooling = [], []
    for e in range(len(events.energy)):
        path = [temperature]
        edges = np.linspace(events.start[e], events.end[e], BRAKING_PARTS + 1)
        heat = events.energy[e] * -np.diff(edges**2) / (edges[0] ** 2 - edges[-1] ** 2)
        seconds = events.brake_time[e] / BRAKING_PARTS
        for part in range(BRAKING_PARTS):
            speed = (edges[part] + edges[part + 1]) / 2
            temperature = lumped.advance(
                temperature,
                seconds,
                power=share * heat[part] / seconds,
                ambient=air.ambient,
                conductance=air.conductance(opening, speed),
                disc=disc,
            )
            path.append(temperature)
        braking.append(path)
        path = [temperature]
        still = air.conductance(opening, float(events.cooling_speed[e]))
        for _ in range(COOLING_PARTS):
            temperature = lumped.advance(
                temperature, events.then[e] / COOLING_PARTS, ambient=air.ambient, conductance=still, disc=disc
            )
            path.append(temperature)
        cooling.append(path)
    return History(np.array(braking), np.array(cooling))


def settle(events: Events, disc: lumped.Disc, air: Air, opening: Array, share: float = 1.0) -> History:
    """The cycle that ends at the temperature it began with, at openings [k], and with each input of the air's moves at its nodes.

    The end of a cycle is a smooth, rising function of its start with slope below one, so the fixed point is
    found by secants; each opening on its own, all in one run. Raises ArithmeticError when it does not
    settle, which no cooling but none at all can bring about.
    """
    opening = np.asarray(opening, float)
    each, shares, airs = _columns(air, share, opening)
    return _parted(_settled(events, disc, airs, each, shares), opening.size, air.moves)


def _columns(air: Air, share: float, opening: Array) -> tuple[Array, Array, Air]:
    """(openings, heat shares, air) of the columns that run together: as stated, then each input's nodes."""
    settings = [Move(), *(move for pair in air.moves.values() for move in pair)]

    def spread(values: list[float]) -> Array:
        return np.repeat(values, opening.size)

    airs = replace(air, h0=air.h0 * spread([m.h0 for m in settings]), h1=air.h1 * spread([m.h1 for m in settings]))
    return np.tile(opening, len(settings)), share * spread([m.share for m in settings]), airs


def _parted(run: History, count: int, moves: Moves) -> History:
    """The columns of `_columns` as a history with its nodes."""
    parts = [
        History(run.braking[:, :, k : k + count], run.cooling[:, :, k : k + count])
        for k in range(0, run.braking.shape[2], count)
    ]
    return replace(parts[0], nodes={name: (parts[1 + 2 * i], parts[2 + 2 * i]) for i, name in enumerate(moves)})


def _settled(events: Events, disc: lumped.Disc, air: Air, opening: Array, share: Values) -> History:
    start = np.full(np.shape(opening), air.ambient)
    history = one_cycle(start, events, disc, air, opening, share)
    change, slope = history.end - start, np.full(start.shape, -1.0)
    for _ in range(MOST_TRIALS):
        if np.abs(change).max() <= SETTLED_K:
            return history
        following = start - change / slope
        previous, before = start, change
        start = np.maximum(following, air.ambient)
        if start.max() > HOTTEST_K:
            break
        history = one_cycle(start, events, disc, air, opening, share)
        change = history.end - start
        moved = start - previous
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = np.where(np.abs(moved) > 1e-9, (change - before) / moved, -1.0)
        slope = np.clip(slope, -1.0, -0.0005)
    raise ArithmeticError("the disc does not settle on this duty: it is hardly cooled at all")


def warm_up(
    events: Events,
    disc: lumped.Disc,
    air: Air,
    opening: Values,
    *,
    count: int,
    settled: Values,
    share: float = 1.0,
) -> list[History]:
    """The first cycles of a use from ambient, at all openings (one, or [k]) together and with each input of the air's moves at its
    nodes: until the last of them starts at `settled` K (one, or [k]) as stated, at most `count`."""
    openings = np.atleast_1d(np.asarray(opening, float))
    each, shares, airs = _columns(air, share, openings)
    temperature, found = np.full(each.shape, air.ambient), []
    for _ in range(min(count, MOST_WARMING)):
        history = one_cycle(temperature, events, disc, airs, each, shares)
        found.append(_parted(history, openings.size, air.moves))
        if np.abs(found[-1].end - settled).max() <= WARM_K:
            break
        temperature = history.end
    return found


def until_warm(warming: Sequence[History], settled: float, opening: int, count: int) -> int:
    """How many of a use's first cycles are run at an opening (index) until it is warm, at most `count`."""
    most = min(len(warming), count)
    warm = (n for n in range(1, most) if abs(float(warming[n - 1].end[opening]) - settled) <= WARM_K)
    return next(warm, most)


def settles_within(warming: list[History], settled: float, count: int) -> bool:
    """Whether a use of `count` cycles comes within WARM_K of the settled cycle; beyond the cycles run, by their
    ratio.
    """
    left = [abs(float(h.end[0]) - settled) for h in warming]
    if left[-1] <= WARM_K:
        return True
    if len(warming) >= count or len(left) < 2:
        return False
    ratio = min(left[-1] / left[-2], 1.0)
    return left[-1] * ratio ** (count - len(warming)) <= WARM_K
