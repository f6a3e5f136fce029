"""The tests of a compound whose intervals of one component are fitted together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.method.wear import Wear
from pipeline.results.model import Interval
from pipeline.results.summary import MissingStop
from pipeline.wear.components import Component, component
from pipeline.wear.exposure import interval_groups
from pipeline.wear.intervals import Intervals, intervals
from pipeline.wear.mass import MassLoss, mass_rows
from pipeline.wear.of_stops import ExposureOfTest
from pipeline.wear.readings import beside_card
from pipeline.wear.result import constants_of, own_choice, shown

SAME_AREA = 0.01


@dataclass(frozen=True)
class WearRecord:
    """One test of the compound: its card, tables, missing recordings (summary.json), readings (None without), and of
    each component with one its own mass_to_thickness."""

    card: Card
    stops: pl.DataFrame
    traces: pl.DataFrame
    missing: list[MissingStop]
    readings: pl.DataFrame | None
    mass_to_thickness: dict[str, Interval] | None = None


@dataclass(frozen=True)
class Member:
    """A test's intervals of one component that take part."""

    test: WearRecord
    exposure: ExposureOfTest
    part: Component
    measured: Intervals
    groups: np.ndarray
    usable: np.ndarray
    mass: list[MassLoss]  # of each interval


def members_of(
    name: str, tests: Sequence[WearRecord], exposures: Sequence[ExposureOfTest], settings: Wear
) -> tuple[list[Member], dict[str, str]]:
    members: list[Member] = []
    left_out = {}
    for test, exposure in zip(tests, exposures, strict=True):
        assert test.readings is not None  # tests without are left out before
        own = test.readings.filter(pl.col("component") == name)
        part = component(name, test.card)
        own, _ = beside_card(own, name, {"thickness": part.thickness, "mass": part.mass})
        last = exposure.last
        measured = intervals(
            own, part, assumed_thickness=settings.thickness_u, assumed_mass=settings.mass_u, last_stop=last
        )
        if measured is None:
            left_out[test.card.test] = "fewer than two readings"
            continue
        if members and not _same_size(part, members[0].part):
            left_out[test.card.test] = "another friction area than the compound's first test"
            continue
        groups = interval_groups(exposure.run_number, measured.from_stop, measured.to_stop)
        usable = exposure.usable(groups, measured.to_stop)
        if not usable.any():
            left_out[test.card.test] = "no interval holds a stop with energy"
            continue
        choice = own_choice(measured, usable, groups, exposure, constants_of(part, settings), settings)
        measured = shown(measured, choice)
        members.append(
            Member(test, exposure, part, measured, groups, usable, mass_rows(own, measured, settings.mass_u))
        )
    return members, left_out


def _same_size(a: Component, b: Component) -> bool:
    if a.area is None or b.area is None:
        return a.area is b.area
    return abs(a.area / b.area - 1) < SAME_AREA and a.force_share == b.force_share


def read_of(members: Sequence[Member]) -> np.ndarray:
    """Which of the members' stops, joined, lie in an interval between readings that counts [n]."""
    return np.concatenate([(m.groups[m.usable] > 0).any(axis=0) for m in members])
