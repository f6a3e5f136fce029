"""Tests of an archive that hold the same recordings: one specimen run once must not count as two.

A folder copied under another name, or a test kept in two formats, makes two tests of one. Their digests differ, as
files and formats do; what the rig did does not. So stops are compared by what was measured and no card can change:
duration, speed at the start, pressure, torque, friction work and initial temperature, each within what a format's
rounding can do to its mean. Two specimens run through one program agree in one of these by chance, not in all at once
(of the samples' 1,500 stops none does). A stop that is like several of the other test says nothing: it takes a pair
that have only each other.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
import polars as pl

# column -> how far two readings of one stop may differ: (share, in the column's unit)
ALIKE = {
    "duration_s": (0.002, 0.002),
    "speed_start_rpm": (3e-4, 0.2),
    "pressure_bar": (5e-4, 0.005),
    "torque_nm": (5e-4, 0.1),
    "energy_kj": (1e-3, 0.02),
    "temperature_initial_c": (0.0, 0.1),
}
LEAST_STOPS, SHARE = 3, 0.1  # stops in common from which two tests are said to share recordings
FEW = 20  # tests of which every pair is looked at
MOST = 0.5  # of the smaller test's stops: from here on the two are one test


class Copy(NamedTuple):
    """Two tests with stops in common; `test` is the one that counts no more where `whole`."""

    test: str
    of: str
    stops: int
    share: float  # of the smaller test's stops
    whole: bool


def copies(tests: Mapping[str, pl.DataFrame]) -> list[Copy]:
    """Pairs of tests that hold the same recordings, from their stops tables, in the order of their names.

    Of a pair the one with more usable stops counts, of equals the first by name.
    """
    points = {name: _points(stops) for name, stops in tests.items()}
    rank = {name: (-int((stops["status"] == "ok").sum()), name) for name, stops in tests.items()}
    found = []
    for a, b in _near(points):
        common = _common(points[a], points[b])
        smaller = min(len(points[a]), len(points[b]))
        if common >= max(LEAST_STOPS, SHARE * smaller):
            kept, other = sorted((a, b), key=rank.__getitem__)
            found.append(Copy(other, kept, common, common / smaller, bool(common >= MOST * smaller)))
    return found


def counted_no_more(found: list[Copy]) -> dict[str, str]:
    """test -> the one that it is a copy of and that counts."""
    of = {copy.test: copy.of for copy in found if copy.whole}
    for test in of:
        while of[test] in of:
            of[test] = of[of[test]]
    return of


def _points(stops: pl.DataFrame) -> np.ndarray:
    """(n, k) measured values of the stops that have them all."""
    columns = stops.select(pl.col(name).cast(pl.Float64) for name in ALIKE)
    known = columns.drop_nulls("torque_nm").fill_null(0.0)
    return known.to_numpy()


def _near(points: Mapping[str, np.ndarray]) -> list[tuple[str, str]]:
    """Pairs of tests with stops near each other, in the order of their names: all that can have stops in common.

    Each stop falls into a cell as wide as the widest reach that a pair of these tests can have; what two tests have in common
    lies in the same cell or in two that touch. A thousand tests make half a million pairs, of which a few hundred are near.
    """
    names = sorted(name for name in points if len(points[name]))
    if len(names) < FEW:
        return list(itertools.combinations(names, 2))
    from scipy.spatial import cKDTree

    reach = _reach(np.max([np.median(np.abs(points[name]), axis=0) for name in names], axis=0))
    cells = [np.unique(np.floor(points[name] / reach), axis=0) for name in names]
    owner = np.repeat(np.arange(len(names)), [len(one) for one in cells])
    tree = cKDTree(np.concatenate(cells))
    found = []
    for number, own in enumerate(cells):
        touching = tree.query_ball_point(own, 1.0 + 1e-9, p=np.inf)
        others = np.unique(owner[np.concatenate([np.asarray(one, int) for one in touching])])
        found += [(names[number], names[other]) for other in others if other > number]
    return found


def _reach(median: np.ndarray) -> np.ndarray:
    """How far two readings of one stop may differ, where the columns' median sizes are these."""
    share, least = (np.array(column) for column in zip(*ALIKE.values(), strict=True))
    found: np.ndarray = np.maximum(share * median, least)
    return found


def _common(a: np.ndarray, b: np.ndarray) -> int:
    """How many stops of a and b have only each other."""
    if not len(a) or not len(b):
        return 0
    from scipy.spatial import cKDTree

    reach = _reach(np.median(np.abs(np.concatenate([a, b])), axis=0))
    trees = cKDTree(a / reach), cKDTree(b / reach)
    near = trees[0].query_ball_tree(trees[1], 1.0, p=np.inf)
    back = np.bincount([j for one in near for j in one], minlength=len(b))
    return sum(bool(len(one) == 1 and back[one[0]] == 1) for one in near)
