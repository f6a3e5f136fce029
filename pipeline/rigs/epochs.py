"""A rig's states between its dated events.

A test run on the day of an event or later stands after it. Events with no test between them cannot be told
apart and count as one boundary.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from pipeline.archive.rigs import Rig, RigEvent


@dataclass(frozen=True)
class Boundary:
    """Two neighbouring states of a rig that both hold tests, and the events between them."""

    rig: str
    events: tuple[RigEvent, ...]
    before: tuple[str, ...]
    after: tuple[str, ...]


def epoch(rig: str, date: datetime.date, events: Sequence[RigEvent]) -> str:
    """Name of the rig's state on a date: its last event up to that date."""
    past = [event.date for event in events if event.date <= date]
    return f"{rig}, from {max(past).isoformat()}" if past else (f"{rig}, before all events" if events else rig)


def boundaries(rig: Rig, dates: Mapping[str, datetime.date]) -> list[Boundary]:
    """The rig's boundaries in time order; `dates` are its tests' dates."""
    events = sorted(rig.events, key=lambda event: event.date)
    states: list[tuple[tuple[str, ...], tuple[RigEvent, ...]]] = []
    pending: list[RigEvent] = []
    edges = [datetime.date.min, *(event.date for event in events), datetime.date.max]
    for index, (start, end) in enumerate(pairwise(edges)):
        if index:
            pending.append(events[index - 1])
        inside = tuple(sorted(test for test, date in dates.items() if start <= date < end))
        if inside:
            states.append((inside, tuple(pending)))
            pending = []
    return [
        Boundary(rig.rig, events_between, before, after)
        for (before, _), (after, events_between) in pairwise(states)
        if events_between
    ]
