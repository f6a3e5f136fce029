"""The first method with one setting of the second, and a test under it.

A test is reduced and judged by the stages' own functions, from the same channels; only what the setting can move is done again: the
stops where it is one of theirs, then window, wear law and drift where the two methods' own answers differ at all. Everything else is the
first method's result as it stands in the results folder.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.archive.card import Card, load_card
from pipeline.delta.conclusions import OfTest
from pipeline.drift import stage as drift
from pipeline.drift.repeatability import read_repeatability
from pipeline.friction import stage as friction
from pipeline.method import Method
from pipeline.results import read_table
from pipeline.results.model import read, renewed
from pipeline.results.record import Record
from pipeline.results.summary import TestSummary
from pipeline.stops import stage as stops
from pipeline.wear import stage as wear

OF_STOPS = ("conditioning", "segmentation", "reduction")
#: stage -> sections whose settings can move its results
MOVED_BY = {
    "stops": OF_STOPS,
    "friction": (*OF_STOPS, "friction"),
    "wear": (*OF_STOPS, "wear"),
    "drift": (*OF_STOPS, "friction", "drift"),
}
OF_TESTS = ("conditioning", "segmentation", "reduction", "friction", "wear", "drift")


def with_one(first: Method, second: Method, name: str) -> Method:
    """The first method with one setting of the second; name: section and key as the settings are listed (`reduction.average`)."""
    section, _, alias = name.partition(".")
    own, other = getattr(first, section), getattr(second, section)
    key = next(k for k, field in type(own).model_fields.items() if (field.alias or k) == alias)
    return first.model_copy(update={section: own.model_copy(update={key: getattr(other, key)})})


@dataclass(frozen=True)
class Place:
    """Where a test's files lie: its folder in the archive, channels and record, the file of its rig, its target."""

    folder: Path
    channels: Path
    record: Path
    rig: Path | None
    target: Path | None
    repeatability: Path | None  # of its compound, by the first method


@dataclass(frozen=True)
class Side:
    """A test under one method: its tables and what is concluded of it."""

    stops: pl.DataFrame
    excluded: pl.DataFrame
    traces: Callable[[], pl.DataFrame]
    summary: TestSummary
    concluded: OfTest


def side_of(folder: Path, concluded: OfTest) -> Side:
    """A test as it stands in a method's results."""
    stops_table, excluded = (read_table(folder / f"{name}.parquet") for name in ("stops", "excluded"))
    summary = read(folder / "summary.json", TestSummary)
    return Side(stops_table, excluded, lambda: read_table(folder / "traces.parquet"), summary, concluded)


def under(method: Method, section: str, first: Side, wanted: Collection[str], place: Place, room: Path) -> Side:
    """The test under the first method with a setting of `section` changed.

    wanted: of friction, wear and drift those whose answers differ between the two methods; room: a folder for temporary files. Raises
    InputError where nothing of the test can be used under this method.
    """
    card, now = load_card(place.folder), first
    if section in MOVED_BY["stops"]:
        found = stops.reduced(card, method, place.channels, read(place.record, Record), place.rig, room)
        summary = renewed(found.summary, test=place.folder.name)
        now = Side(
            found.stops, found.excluded, lambda: found.traces, summary, replace(first.concluded, summary=summary)
        )
    again = [name for name in wanted if section in MOVED_BY[name]]
    made: dict[str, Any] = {name: REDONE[name](method, now, card, place) for name in again}
    return replace(now, concluded=replace(now.concluded, **made))


def _friction(method: Method, now: Side, card: Card, place: Place) -> Any:
    wanted, common = friction.wanted_of(place.target), now.summary.mu_u_common_relative
    found, _ = friction.of_test(now.stops, method, wanted, common)
    return found


def _wear(method: Method, now: Side, card: Card, place: Place) -> Any:
    return wear.of_tables(place.folder, card, now.summary, now.stops, now.traces(), method)[0]


def _drift(method: Method, now: Side, card: Card, place: Place) -> Any:
    return drift.of_tables(now.stops, now.excluded, method, read_repeatability(place.repeatability))


REDONE: dict[str, Callable[[Method, Side, Card, Place], Any]] = {
    "friction": _friction,
    "wear": _wear,
    "drift": _drift,
}
