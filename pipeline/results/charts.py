"""charts.json: control charts of each rig and of each compound's batches, test by test in order of date.

A rig is watched by what no batch enters (energy balance, zeros, lag) and by specimens of batches that it has tested
before (friction, bite, wear); the product by its batches, one after another.
"""

from __future__ import annotations

from typing import Literal

from pipeline.results.model import Result, Stamp, given
from pipeline.results.rigs import Event, OfRig

Charted = Literal["mu", "bite", "wear", "energy_ratio", "torque_zero", "pressure_zero", "lag"]


class ChartPoint(Result):
    """A value on the chart: a test's, or a batch's mean."""

    name: str = given("test, or batch")
    date: str = given("its date, of a batch that of its first test; ISO 8601")
    group: str = given("batch whose level it is held against; empty where all tests share one")
    tests: list[str] = given("tests behind it", default_factory=list)
    value: float = given("its value, in the chart's unit")
    centre: float | None = given("level learnt before it; null for the first of its level", default=None)
    low: float | None = given("lower limit of a single value; null while the scatter is not told", default=None)
    high: float | None = given("upper limit of a single value", default=None)
    z: float | None = given("its departure in standard deviations, as normal", default=None)
    average: float | None = given("weighted average of the z up to it", default=None)
    signals: bool = given("whether it is beyond its limits by itself", default=False)
    alarm: bool = given("whether the average is beyond its limit", default=False)


class Restart(Result):
    """A point from which the level is learnt anew."""

    name: str = given("test or batch")
    date: str = given("its date, ISO 8601")
    why: str = given("the event, or the alarm")


class Wander(Result):
    """A level that moved without an event that says so."""

    rig: str = given("rig")
    quantity: Charted = given("by which it shows")
    subject: str = given("compound by which it shows; empty where material plays no part")
    onset: str = given("first test after the move, at the likeliest place")
    onset_date: str = given("its date, ISO 8601")
    earliest_date: str = given("date of the first test that it may have begun with, ISO 8601")
    alarm: str = given("test that found it")
    alarm_date: str = given("its date, ISO 8601")
    shift: float | None = given("how far it moved, in the chart's unit; null where no batch has tests on both sides",
                                default=None)  # fmt: skip
    shift_u: float | None = given("standard uncertainty of it", default=None)
    shift_relative: float | None = given("the same as a share of friction or wear; null where it is none", "1",
                                         default=None)  # fmt: skip
    tests: list[str] = given("tests of the rig from the onset to the next event or alarm that moved it")
    text: str = given("in words")


class Chart(Result):
    """One series in order, its limits and what they rest on."""

    quantity: Charted = given("what is charted")
    subject: str = given("compound, or empty where material plays no part")
    unit: str = given("unit of value, centre and limits; of mu, bite and wear they are logarithms")
    points: list[ChartPoint] = given("values in order of date", default_factory=list)
    scatter: Literal["known", "estimated"] = given("whether the limits rest on a stated scatter or on the values' own")
    sigma: float | None = given("the scatter, at the end of the chart; null where not told", default=None)
    df: int | None = given("degrees of freedom behind an estimated scatter", default=None)
    single_limit: float = given("limit of a single value in standard deviations")
    average_weight: float = given("weight of the newest value in the average")
    average_limit: float = given("limit of the average in standard deviations of a value")
    run_length_single: float = given("values to a false alarm of single ones, on average")
    run_length_average: float = given("values to a false alarm of the average, on average")
    run_length_plugged: float | None = given(
        "what single values would come to, were the estimated level and scatter taken for the truth", default=None
    )
    restarts: list[Restart] = given("where the level was learnt anew", default_factory=list)
    wanders: list[Wander] = given("moves found", default_factory=list)
    left_out: list[str] = given("tests without a value, and why", default_factory=list)
    why: str | None = given("why nothing is judged, or a reservation", default=None)


class RigCharts(Result):
    """A rig over time."""

    rig: str = given("rig")
    page: str = given("name of its page, without ending")
    reference: str | None = given("its reference compound, as its file states it", default=None)
    events: list[Event] = given("its dated events", default_factory=list)
    tests: list[str] = given("its tests in order of date")
    charts: list[Chart] = given("by quantity", default_factory=list)

    @property
    def wanders(self) -> list[Wander]:
        """Moves of the series that enter results."""
        return [one for chart in self.charts if chart.quantity in SPEAKING for one in chart.wanders]


class CompoundCharts(Result):
    """A compound's batches over time."""

    compound: str = given("compound, as the cards name it")
    charts: list[Chart] = given("by quantity", default_factory=list)


class Charts(Result):
    """charts.json of a method."""

    method: str | None = given("method's id", default=None)
    unusable: str | None = given("why the stage could not do its work", default=None)
    rigs: list[RigCharts] = given("by rig", default_factory=list)
    compounds: list[CompoundCharts] = given("by compound", default_factory=list)
    findings: list[OfRig] = given("rig_wanders, as in findings.json", default_factory=list)
    stamp: Stamp | None = given("what the file rests on", default=None)

    @property
    def wanders(self) -> list[Wander]:
        """Moves of all rigs that enter results."""
        return [one for rig in self.rigs for one in rig.wanders]


#: series whose move is in the results; zeros and lag are taken off each test as they are found
SPEAKING: tuple[Charted, ...] = ("mu", "bite", "wear", "energy_ratio")
