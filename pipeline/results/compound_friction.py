"""friction.json of a compound: the map over all its tests, its specimens and batches."""

from __future__ import annotations

from pipeline.results.cards import CardDifference
from pipeline.results.face import Choice, FaceLaw
from pipeline.results.film import FilmEvidence
from pipeline.results.friction import OfMap
from pipeline.results.friction_blocks import Block, Line
from pipeline.results.friction_history import Bedding, Fade, Pause, Recovery
from pipeline.results.friction_map import CurvePoint, Holds, LeftOut, Window, WindowAt, WindowEstimate
from pipeline.results.model import Interval, OfCompound, Result, Stamp, given
from pipeline.results.support import Extrapolation


class Specimen(Result):
    """A specimen's level beside the compound's map."""

    batch: str = given("batch")
    specimen: str = given("specimen")
    stops: int = given("stops in the map")
    shift: float = given("shift in level, in the unit of `between`")


class Between(Result):
    """Scatter between specimens and batches beside that of stops."""

    unit: str = given("relative, or mu")
    specimen_sd: float | None = given("standard deviation between specimens", default=None)
    specimen_why: str | None = given("why it is null", default=None)
    specimen_shift_k: float | None = given("between specimens along the temperature", "K", default=None)
    batch_sd: float | None = given("standard deviation between batches", default=None)
    batch_why: str | None = given("why it is null", default=None)
    stop_sd: float = given("standard deviation of single stops")
    prior: str = given("what the fit takes for usual")
    autocorrelation: float = given("correlation of neighbouring stops")


class OfBatch(Result):
    """One batch by itself, with the compound's form of map and reference conditions."""

    batch: str = given("batch")
    window: Window | None = given("its window", default=None)
    window_reason: str | None = given("why there is none", default=None)
    window_estimate: WindowEstimate | None = given(
        "where it ends by best estimate; null where not even the estimate lies inside the target band", default=None
    )
    wanted_from: str | None = given("where the target band comes from", default=None)
    holds: Holds | None = given("verdict over the target range", default=None)
    curve: list[CurvePoint] = given("mu against temperature at the reference conditions", default_factory=list)
    curve_reason: str | None = given("why there is no curve", default=None)
    extrapolated: list[Extrapolation] = given(
        "where its window (without one its curve) leaves what was run", default_factory=list
    )
    asked: WindowAt | None = given("window and curve at the conditions that a target asks for", default=None)


class FurtherBatch(Interval):
    """Where the mean of a further batch lies at the reference conditions."""

    batches: int = given("batches behind it")


class Changed(Result):
    """A test of which only the stops before a drift's onset are in the map."""

    test: str = given("test")
    from_stop: int = given("first stop left out")
    verdict: str | None = given("the drift's verdict", default=None)
    why: str = given("in words")


class OneTest(Result):
    """Bedding, fade, recovery and pauses of one test of the compound."""

    test: str = given("test")
    batch: str = given("batch")
    specimen: str = given("specimen")
    bedding: Bedding | None = given("bedding", default=None)
    fade: Fade | None = given("its deepest fade", default=None)
    recovery: Recovery | None = given("recovery after it", default=None)
    left_out: list[LeftOut] = given("blocks left out", default_factory=list)
    pauses: list[Pause] = given("first stops after pauses", default_factory=list)


class GlazeStops(Interval):
    """Low-energy stops until 3 % of mu is lost."""


class GlazeLimit(Result):
    """How much low-energy use the compound bears, from the use that its tests saw."""

    power_density_w_mm2: float | None = given("limit of the power density per pad area", "W/mm2", default=None)
    power_density_low_w_mm2: float | None = given("highest at which it grew", "W/mm2", default=None)
    power_density_high_w_mm2: float | None = given("lowest that was harmless", "W/mm2", default=None)
    power_density_high_why: str | None = given("why it is null", default=None)
    temperature_c: float | None = given("initial temperature up to which it grew", "degC", default=None)
    stops: GlazeStops | None = given("low-energy stops until 3 % of mu is lost", default=None)
    tests: list[str] = given("tests in which it grew", default_factory=list)
    harmless_stretches: int | None = given("stretches of harder cold use that changed nothing", default=None)
    text: str = given("in words")
    why: str | None = given("why it is not known", default=None)


class CompoundFriction(OfCompound, OfMap):
    """friction.json of a compound."""

    tests_left_out: dict[str, str] = given("tests that could not be used, and why", default_factory=dict)
    card_differences: list[CardDifference] = given("where the tests' cards differ", default_factory=list)
    specimens: list[Specimen] = given("levels of the specimens", default_factory=list)
    between: Between | None = given("scatter between specimens and batches", default=None)
    by_batch: list[OfBatch] = given("each batch by itself; empty for one batch", default_factory=list)
    further_batch: FurtherBatch | None = given("where a further batch lies", default=None)
    changed: list[Changed] = given("tests cut at a drift's onset", default_factory=list)
    tests: list[OneTest] = given("every test", default_factory=list)
    blocks: list[Block] = given("every block of the procedures, by batch", default_factory=list)
    lines: list[Line] = given("mu along lines of pressure and of speed, by batch", default_factory=list)
    lines_why: dict[str, str] = given("why no batch has a line along a condition", default_factory=dict)
    glaze_limit: GlazeLimit | None = given("limit of low-energy use", default=None)
    film: FilmEvidence | None = given("what the tests' use shows of a film's growth and removal", default=None)
    face_law: FaceLaw | None = given("friction as a law of the rubbing face, held against the map", default=None)
    window_by: Choice = given("whether curve, window, verdict and landmarks are the map's or the law's", default="map")
    map_window: Window | None = given("the map's window, where the law's stands above", default=None)
    stamp: Stamp | None = given("what the file rests on", default=None)
