"""One running test: its recordings taken in as they become whole, and what is said of them, each thing once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, NamedTuple

from pipeline.archive.card import Card, load_card
from pipeline.drift.looks import planned_looks, reached
from pipeline.drift.series import Series
from pipeline.errors import InputError
from pipeline.method import Method
from pipeline.notebook.reduction import Reduced, reduce
from pipeline.notebook.test import read_on
from pipeline.recordings.kept import Kept
from pipeline.watching.arrivals import Arrivals, State, cut_off, listed, state_of
from pipeline.watching.faults import lasting_faults
from pipeline.watching.judge import (
    Said,
    complete,
    look_at,
    said_of_faults,
    said_of_look,
    said_of_wear,
    standing,
)
from pipeline.watching.wear_limit import wear_so_far
from pipeline.wording import counted

Key = list[tuple[str, State | None]]
LONG = 60.0  # times what a recording must stand still: so long without a whole one is told
Kind = Literal["taken", "look", "alarm", "note", "waits"]


class Event(NamedTuple):
    """Something to tell of a test, in one line; after: the last stop behind it."""

    test: str
    kind: Kind
    after: int
    words: str
    said: Said | None = None


@dataclass
class RunningTest:
    """A test that is watched.

    folder: the test's; others: gives what the compound's other tests tell of the scatter when a look asks for it
    (`judge.series_of`); rig: the file of its rig whose calibrations the method applies.
    """

    folder: Path
    method: Method
    settle_s: float
    others: Callable[[], Mapping[str, Series]] = dict
    rig: Path | None = None
    complete: bool = False  # the schedule's last stop has been run
    at_end: bool = False  # and no recording is being written
    alarmed: bool = False
    due: bool = False  # a look was reached or an alarm said since the results were last brought up to date
    arrivals: Arrivals = field(init=False)
    _taken: Key = field(default_factory=list)
    _told: set[str] = field(default_factory=set)
    _looked: int = 0
    _kept: Kept = field(default_factory=Kept)  # recordings are read once, however many follow
    _growing_since: float | None = None  # s: recordings are there and none was whole

    def __post_init__(self) -> None:
        self.arrivals = Arrivals(self.settle_s)

    @property
    def name(self) -> str:
        return self.folder.name

    def look_round(self, at_s: float) -> tuple[list[Event], bool]:
        """What is new at a time (s): the events, and whether no recording is being written."""
        try:
            card = load_card(self.folder)
        except InputError as error:
            return self._waits(str(error)), False
        now, why = listed(self.folder, card)
        names = self.arrivals.whole(now, at_s)
        events = self._waits(why, "no recordings") if why else []
        events += self._still_growing(now, names, at_s)
        rewritten = {name for name, _ in self._taken} & now.keys() - set(names)  # taken before, and not whole again yet
        events += self._take(card, now, names) if not rewritten and self._key(card, now, names) != self._taken else []
        quiet = self.arrivals.quiet(now, at_s)
        self.at_end = self.complete and quiet
        return events, quiet

    def _still_growing(self, now: Mapping[str, State], names: list[str], at_s: float) -> list[Event]:
        """Whether nothing was whole for so long that nobody should take the silence for a sound test."""
        if names or not now:
            self._growing_since = None
            return []
        since = self._growing_since = at_s if self._growing_since is None else self._growing_since
        if at_s - since < LONG * self.settle_s:
            return []
        why = f"{next(iter(now))} is written to without a rest: a recording that grows to the end of the test is read then"
        return self._waits(f"{why}, and nothing is judged before; let the rig write one a stop or a block")

    def _key(self, card: Card, now: Mapping[str, State], names: list[str]) -> Key:
        """What a take rests on: the recordings, the card and the wear readings."""
        besides = ("test.yaml", *((card.wear,) if card.wear else ()))
        return [*((name, now[name]) for name in names), *(("", state_of(self.folder / name)) for name in besides)]

    def seen(self, at_s: float) -> None:
        """Count what is there now as seen: only what comes later is taken in."""
        try:
            card = load_card(self.folder)
        except InputError:
            return
        now, _ = listed(self.folder, card)
        self.arrivals.whole(now, at_s - self.settle_s)
        self._taken = self._key(card, now, list(now))

    def _take(self, card: Card, now: Mapping[str, State], names: list[str]) -> list[Event]:
        if not names:
            return []
        before, self._taken = (
            self._taken,
            self._key(card, now, names),
        )  # what fails is tried again when something is new
        try:
            reduced = reduce(read_on(self.folder, only=names, kept=self._kept), self.method, rig=self.rig)
        except InputError as error:
            return self._waits(str(error))
        last = names[-1]
        why = (
            cut_off(last, reduced.found)
            if last == list(now)[-1] and not self.arrivals.doubts(last, now[last])
            else None
        )
        if why is not None:
            self.arrivals.doubt(last, now[last])
            self._taken = before
            waits = self._waits(f"{last} reads as cut off and is waited for: {why}")
            news = self._key(card, now, names[:-1]) != before
            return [*waits, *(self._take(card, now, names[:-1]) if news else [])]
        known = {name for name, _ in before}
        return self._judge(card, reduced, len(set(names) - known))

    def _judge(self, card: Card, reduced: Reduced, more: int) -> list[Event]:
        stops, scheduled = reduced.stops, sum(block.stops for block in card.blocks)
        last = int(stops["stop"].max() or 0)  # type: ignore[arg-type]
        taken = (
            f"{counted(more, 'further recording')}: {standing(stops, scheduled)}"
            if more > 0
            else standing(stops, scheduled)
        )
        events = [Event(self.name, "taken", last, taken)]
        looks = planned_looks(card.blocks)
        new = [look for look in reached(stops, looks) if look.number > self._looked]
        said: list[Said | None] = []
        if new:
            judged = look_at(stops, new[-1], len(looks), self.method, self.others())
            self._looked, self.due = new[-1].number, True
            said.append(said_of_look(judged, len(looks), self.method.drift))
            words = f"look {judged.look.number} of {len(looks)}, after {judged.look.block}: {judged.found.verdict}"
            words += "" if judged.found.onset_stop is not None else f" ({judged.found.evidence.why})"
            events.append(Event(self.name, "look", judged.last, words))
        said += said_of_faults(lasting_faults(stops, reduced.found))
        parts, without = wear_so_far(self.folder, card, stops, self.method.wear)
        said += said_of_wear(parts, self.method.wear.confidence)
        events += [event for why in without for event in self._waits(why)]
        for one in said:
            if one is not None and one.key not in self._told:
                self._told.add(one.key)
                events.append(Event(self.name, "alarm" if one.alarm else "note", last, one.words, one))
                self.alarmed, self.due = self.alarmed or one.alarm, self.due or one.alarm
        self.complete = complete(stops, scheduled)
        self.due = self.due or self.complete
        return events

    def _waits(self, why: str, key: str | None = None) -> list[Event]:
        """Said once; key: of words that differ from time to time."""
        if (key or why) in self._told:
            return []
        self._told.add(key or why)
        return [Event(self.name, "waits", 0, f"not yet: {why}")]
