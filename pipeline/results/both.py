"""Whether one brake serves gentle and hard use at one opening, and what would make it do so."""

from __future__ import annotations

from typing import Literal

from pipeline.results.model import Interval, Result, given
from pipeline.results.openings import SettlingTest

Use = Literal["gentle", "hard"]
BothAnswer = Literal["serves both", "serves neither at one opening", "not shown"]
ChangeKind = Literal["an opening per duty", "hard stops between", "a test", "a margin of mu"]

GENTLE_SHARE = 0.5  # of the map's own power density, below which use is gentle where no limit is known


class Openings(Result):
    """Openings from low to high."""

    low: float = given("first", "1")
    high: float = given("last", "1")


class DutyUse(Result):
    """One duty, its use and what it asks of the brake."""

    duty: str = given("duty")
    use: Use | None = given("use; null where neither its file nor its power density tells it", default=None)
    marked: bool = given("whether the duty's file says it")
    by: str = given("what tells it, in words")
    power_density_w_mm2: float = given("mean power density of its brakings by energy, per pad area", "W/mm2")
    openings: Openings | None = given("its openings to run", default=None)
    shown: Openings | None = given("those of them without reservation", default=None)
    why: str | None = given("why there are none, or what stands against them", default=None)


class HardStops(Result):
    """Hard stops that clear a gentle duty's film, as the tests' recovery showed."""

    duty: str = given("gentle duty")
    opening: float = given("opening at which both then run", "1")
    stops: int = given("hard stops each time")
    after_cycles: int = given("cycles of the gentle duty after which they are run")
    power_density_w_mm2: float = given("power density that they need", "W/mm2")
    temperature_c: float = given("initial temperature that they need", "degC")
    regained: Interval = given("share of the loss that as many regained in the test", "1")
    test: str = given("test that showed it")


class Change(Result):
    """A change by which the brake would serve all the duties."""

    kind: ChangeKind = given("kind of change")
    shown: bool = given("whether the tests show that it does; else what stands open is in `words`")
    words: str = given("the change in words")
    openings: dict[str, Openings] = given("opening of each duty under it", default_factory=dict)
    hard_stops: list[HardStops] = given("for hard stops between: how many and which", default_factory=list)
    mu_margin: float | None = given("for a margin of mu: by how much the target band must widen", default=None)
    mu_limit: float | None = given("for a margin of mu: the limit that would then be accepted", default=None)
    test: SettlingTest | None = given("for a test: the one that settles glazing, where that stands open", default=None)


class BothDuties(Result):
    """One answer over duties of gentle and of hard use."""

    answer: BothAnswer | None = given("answer; null where there are not both uses", default=None)
    opening: Openings | None = given("openings that serve all without reservation", default=None)
    opening_reserved: Openings | None = given("openings that nothing tested speaks against", default=None)
    why: str = given("the answer in words")
    duties: list[DutyUse] = given("every duty with its use", default_factory=list)
    changes: list[Change] = given(
        "changes that would make it serve all, the cheapest first; empty where it does", default_factory=list
    )
    changes_why: str | None = given("why none is known", default=None)
