"""The one rule of support: which conditions the stops that were run speak for.

A conclusion is about brakings at conditions x: temperature, pressure, start speed, energy density, power density, those of
them that matter to it. The stops that it rests on were run at conditions r_1 ... r_n. Then x is *covered* where

    each condition lies inside the range that was run, but for the scatter of a set-point (5 K, 3 %), and
    some stop was run within reach of x in all conditions at once: max_d |x_d - r_d| / reach_d <= 1,

reach 60 K in temperature, a factor of 1.5 in every other condition. The first says in which direction and how far a
conclusion leaves what was run. The second finds what no range finds: gentle braking that was run cold only says nothing of gentle
braking on a hot disc, though hot stops were run as well. The largest of the differences counts and not their sum of squares, as
pressure, speed, energy and power of a braking are tied and would count several times.

60 K is half the widest gap in temperature that a curve is given in by default, 1.5 a little more than half the way between
levels that lie a factor of two apart, as set-points of a program do (common practice); both are judgement, no theorem. Moved farther out of the
range, a braking comes no nearer to any stop: what is extrapolated stays so.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.constants import Array
from pipeline.results.support import DirectionName

Flags = NDArray[np.bool_]

REACH_K, REACH_FACTOR = 60.0, 1.5
SCATTER_K, SCATTER_FACTOR = 5.0, 1.03


@dataclass(frozen=True)
class Direction:
    """A condition: name, unit of its values, whether it counts by its logarithm, decimals in words."""

    name: DirectionName
    unit: str
    logarithmic: bool = True
    decimals: int = 1

    def scaled(self, values: Array) -> Array:
        """Values in reaches of a stop; NaN where there is no such value."""
        if not self.logarithmic:
            return np.asarray(values, float) / REACH_K
        with np.errstate(divide="ignore", invalid="ignore"):
            found = np.log(np.asarray(values, float)) / np.log(REACH_FACTOR)
        return np.where(np.isfinite(found), found, np.nan)

    @property
    def scatter(self) -> float:
        """Scatter of a set-point, in reaches."""
        return float(np.log(SCATTER_FACTOR) / np.log(REACH_FACTOR)) if self.logarithmic else SCATTER_K / REACH_K

    def said(self, value: float) -> str:
        """A value with its unit."""
        return f"{value:.{self.decimals}f} {self.unit}"


TEMPERATURE = Direction("temperature", "°C", logarithmic=False, decimals=0)
PRESSURE = Direction("pressure", "bar")
SPEED = Direction("speed", "rpm", decimals=0)
ENERGY_DENSITY = Direction("energy density", "J/mm2")
POWER_DENSITY = Direction("power density", "W/mm2", decimals=2)


@dataclass(frozen=True)
class Run:
    """The conditions of the stops that were run: values [n, d] in the directions' units; `unrecorded` are those that no stop has."""

    directions: tuple[Direction, ...]
    values: Array
    unrecorded: tuple[Direction, ...] = ()
    ranges_only: bool = False  # the values are the ends of ranges, no stops: what was run together is not known

    @classmethod
    def of_ranges(cls, ends: dict[Direction, Any]) -> Run:
        """Of ranges alone, (low, high) by direction or None: nothing is known of the combinations."""
        known = {d: span for d, span in ends.items() if span is not None}
        values = np.array([known[d] for d in known], float).T.reshape(-1, len(known))
        return cls(tuple(known), values, ranges_only=True)

    @classmethod
    def of(cls, columns: dict[Direction, Any]) -> Run:
        """Of stops' conditions by direction, each [n]; a stop without one of them says nothing, a direction that no stop has is told
        as not recorded."""
        arrays = {d: np.asarray(values, float) for d, values in columns.items()}
        known = [d for d, values in arrays.items() if np.isfinite(d.scaled(values)).any()]
        missing = tuple(d for d in arrays if d not in known)
        if not known:
            return cls((), np.zeros((0, 0)), missing)
        values = np.column_stack([arrays[d] for d in known])
        sound = np.isfinite(np.column_stack([d.scaled(arrays[d]) for d in known])).all(axis=1)
        return cls(tuple(known), values[sound], missing)

    def __len__(self) -> int:
        return len(self.values)

    @cached_property
    def low(self) -> Array:
        """Lowest run [d]."""
        return self.values.min(axis=0)

    @cached_property
    def high(self) -> Array:
        """Highest run [d]."""
        return self.values.max(axis=0)

    @cached_property
    def _tree(self) -> Any:
        from scipy.spatial import cKDTree

        return cKDTree(self._scaled(self.values))

    def _scaled(self, points: Array) -> Array:
        return np.column_stack([d.scaled(points[:, k]) for k, d in enumerate(self.directions)])

    def points(self, columns: dict[Direction, Any]) -> Array:
        """Conditions asked for [m, d], of arrays [m] by direction; a direction that is not among them is NaN and is not looked at."""
        size = max(np.size(values) for values in columns.values())
        none = np.full(size, np.nan)
        given = [np.broadcast_to(np.asarray(columns.get(d, none), float), (size,)) for d in self.directions]
        return np.column_stack(given) if given else np.zeros((size, 0))

    def beyond(self, points: Array) -> Array:
        """How far points [m, d] lie outside the range run, in reaches: above positive, below negative, 0 inside its scatter."""
        at = self._scaled(points)
        scatter = np.array([d.scatter for d in self.directions])
        low, high = self._scaled(self.low[None])[0], self._scaled(self.high[None])[0]
        above, below = at - high, at - low
        return np.where(above > scatter, above, np.where(below < -scatter, below, 0.0))

    def nearest(self, points: Array) -> tuple[Array, Array]:
        """(distance in reaches [m], index of the stop [m]) of the stop next to each point; a condition that is NaN is not looked at."""
        if self.ranges_only:
            return np.zeros(len(points)), np.zeros(len(points), int)
        at = self._scaled(points)
        known = np.isfinite(at)
        if known.all():
            distance, index = self._tree.query(at, p=np.inf)
            return np.asarray(distance, float), np.asarray(index, int)
        own = self._scaled(self.values)
        far = np.array([np.where(known[i], np.abs(own - row), 0.0).max(axis=1) for i, row in enumerate(at)])
        return far.min(axis=1), far.argmin(axis=1)

    def covered(self, points: Array) -> Flags:
        """Boolean [m]: covered by what was run. Nothing is where nothing was run."""
        if not len(self):
            return np.zeros(len(points), bool)
        return np.asarray((self.beyond(points) == 0).all(axis=1) & (self.nearest(points)[0] <= 1), bool)
