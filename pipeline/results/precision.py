"""precision.json: how well the laboratory repeats itself, by compound and over compounds.

All scatter is relative: standard deviations of the logarithm, so that friction, bite and wear, and compounds of unlike
level, stand on one scale (0.01 is 1 %). Five components, each inside the next: a stop within its block, a block
(occasion) within its test, a specimen within its batch, a batch, and the state of a rig between two dated events.
"""

from __future__ import annotations

from typing import Literal

from pipeline.results.model import Interval, Result, Stamp, given

Quantity = Literal["mu", "bite", "wear"]
Kind = Literal["stop", "occasion", "specimen", "batch", "rig"]
KINDS: tuple[Kind, ...] = ("stop", "occasion", "specimen", "batch", "rig")


class Component(Interval):
    """Standard deviation of one component with its 95 % interval; null with `why` where the tests cannot part it."""

    value: float | None = given("standard deviation of the logarithm; null where it cannot be told", "1", default=None)
    low: float | None = given("lower end of its 95 % interval", "1", default=None)
    high: float | None = given("upper end of its 95 % interval", "1", default=None)
    df: float | None = given("degrees of freedom of the mean square it rests on", default=None)
    why: str | None = given("why there is no value, or a reservation", default=None)


class Precision(Interval):
    """A standard deviation of one test result, and the limit for the difference of two."""

    value: float | None = given("standard deviation of the logarithm; null where it cannot be told", "1", default=None)
    low: float | None = given("lower end of its 95 % interval", "1", default=None)
    high: float | None = given("upper end of its 95 % interval", "1", default=None)
    limit: float | None = given(
        "what the difference of two such results exceeds once in twenty: 2.8 standard deviations", "1", default=None
    )
    why: str | None = given("why there is no value, or a reservation", default=None)


class Consistency(Result):
    """One test beside the others, with the consistency statistics of ASTM E691."""

    test: str = given("test's id")
    batch: str = given("its batch")
    specimen: str = given("its specimen")
    state: str = given("state of its rig between two dated events")
    level: float = given("its level over that of all tests, less 1", "1")
    h: float | None = given("its departure from its batch over the standard deviation of such departures", default=None)
    h_critical: float | None = given("beyond which |h| is rarer than 0.5 %", default=None)
    k: float | None = given("scatter of its stops over that of all tests", default=None)
    k_critical: float | None = given("beyond which k is rarer than 0.5 %", default=None)
    odd: bool = given("whether either is beyond its critical value")


class Cochran(Result):
    """Cochran's C on the scatter of the stops within tests, and what ISO 5725-2 calls its answer."""

    test: str = given("the test with the largest scatter")
    c: float = given("its share of all scatter", "1")
    critical_5: float = given("critical value at 5 %", "1")
    critical_1: float = given("critical value at 1 %", "1")
    verdict: Literal["outlier", "straggler", "none"] = given("outlier beyond the 1 % value, straggler beyond the 5 %")


class BatchShare(Result):
    """How far two batches would differ by specimens and rig alone."""

    a: str = given("first batch")
    b: str = given("second batch")
    difference: float = given("difference of the batches' mean logarithms, a less b, rigs' states left in", "1")
    specimen_sd: float | None = given("standard deviation of such a difference by specimens and stops", "1")
    rig_sd: float | None = given("standard deviation of such a difference by the rigs' states", "1", default=None)
    rig_sd_high: float | None = given("the same at the upper end of the states' interval", "1", default=None)
    reach: float | None = given("what specimens and rig alone exceed once in twenty", "1", default=None)
    rig_share: float | None = given("the rigs' states' share of the variance of the difference", "1", default=None)
    state_apart: float = given(
        "share of the specimens of one batch that ran in a state in which the other did not", "1"
    )
    why: str | None = given("why figures are null, or a reservation", default=None)


class Of(Result):
    """One quantity of one compound, or of all compounds taken together."""

    quantity: Quantity = given("mu at matched checks, bite at cold, or wear of the disc per stop")
    compound: str | None = given("compound; null for all compounds taken together")
    level: float | None = given("geometric mean of the tests: mu, or um per stop; null over compounds", default=None)
    conditions: str = given("in which stops it was read, in words")
    tests: int = given("tests with a value", default=0)
    specimens: int = given("their specimens", default=0)
    batches: int = given("their batches", default=0)
    states: int = given("states of rigs that they ran in", default=0)
    occasions: int = given("blocks of stops", default=0)
    stops: int = given("stops", default=0)
    autocorrelation: float | None = given("correlation of neighbouring stops", default=None)
    components: dict[Kind, Component] = given("components of variance", default_factory=dict)
    repeatability: Precision | None = given(
        "of a test's result on another specimen of the batch in one state of the rig", default=None
    )
    reproducibility: Precision | None = given("the same over states of the rigs", default=None)
    consistency: list[Consistency] = given("tests beside each other", default_factory=list)
    cochran: Cochran | None = given("largest scatter within a test", default=None)
    cochran_why: str | None = given("why there is none", default=None)
    pairs: list[BatchShare] = given("pairs of batches", default_factory=list)
    left_out: list[str] = given("tests that could not be used, and why", default_factory=list)
    why: str | None = given("why there are no figures, or a reservation", default=None)


class Pace(Result):
    """Time that a stop takes on a rig, from the end of one braking to the end of the next: cooling, then the stop."""

    rig: str = given("rig")
    compound: str | None = given("compound; null for all of them")
    purpose: str | None = given("purpose of the block; null for all of them")
    stops: int = given("stops behind it")
    hours_per_stop: float | None = given("median; long pauses do not move it", "h", default=None)
    low: float | None = given("lower quartile of the stops", "h", default=None)
    high: float | None = given("upper quartile of the stops", "h", default=None)
    hours_per_test: float | None = given(
        "median over tests: from first to last stop, pauses included", "h", default=None
    )
    why: str | None = given("why there is none", default=None)


class RigPrecision(Result):
    """precision.json of a method."""

    method: str | None = given("method's id", default=None)
    unusable: str | None = given("why the stage could not do its work", default=None)
    quantities: list[Of] = given("by quantity and compound", default_factory=list)
    pace: list[Pace] = given("time that a stop takes", default_factory=list)
    stamp: Stamp | None = given("what the file rests on", default=None)

    def of(self, quantity: Quantity, compound: str | None = None) -> Of | None:
        """The quantity of the compound, or of all of them together."""
        return next((one for one in self.quantities if (one.quantity, one.compound) == (quantity, compound)), None)

    def component(self, kind: Kind, quantity: Quantity, compound: str) -> Component:
        """The compound's own component, or that over all compounds where its own tests cannot tell it."""
        both = [one.components.get(kind) for one in (self.of(quantity, compound), self.of(quantity)) if one]
        found = [one for one in both if one is not None]
        told = next((one for one in found if one.value is not None), None)
        return told or (found[0] if found else Component(why="no test tells it"))
