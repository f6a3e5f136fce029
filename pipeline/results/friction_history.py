"""Parts of friction.json that the order of the stops gives: bedding, fade, pauses, friction within stops, both duties'
sides; and what the stops excluded by hand would change.
"""

from __future__ import annotations

from pydantic import Field

from pipeline.results.friction_map import Answer, Window
from pipeline.results.model import Result, given


class Bedding(Result):
    """Stops until mu lies within 3 % of its asymptote."""

    stops: float | None = given("stops", default=None)
    low: float | None = given("lower end of the interval", default=None)
    high: float | None = given("upper end of the interval", default=None)
    mu_start: float | None = given("fitted mu at the first stop", default=None)
    mu_end: float | None = given("fitted mu at the last stop", default=None)
    asymptote: float | None = given("mu where it settles", default=None)
    adjusted_to_reference: bool | None = given("whether mu was taken to the reference conditions first", default=None)
    tests: int | None = given("tests behind it, in a compound's file", default=None)
    why: str | None = given("why it is null, or a reservation", default=None)


class Recovery(Result):
    """mu after a fade over mu before it."""

    index: float | None = given("first check block after the fade (or last recovery stops) over before", default=None)
    index_low: float | None = given("lower end of the index's interval", default=None)
    index_high: float | None = given("upper end", default=None)
    index_why: str | None = given("why the index has no interval", default=None)
    stops: int | None = given("recovery stops until within 3 % of before; null if never", default=None)
    after: str | None = Field(None, alias="from", description="check or recovery: what the index rests on")
    why: str | None = given("why a figure is null", default=None)
    test: str | None = given("test, in a compound's file", default=None)


class Fade(Result):
    """The lowest mu of a fade block over the checks before it."""

    block: str = given("block")
    mu_min: float = given("lowest mu of the fade")
    stop: int = given("its stop")
    temperature_c: float | None = given("its temperature", "degC", default=None)
    mu_before: float | None = given("mean of the checks before", default=None)
    index: float | None = given("mu_min over mu_before", default=None)
    index_low: float | None = given("lower end of the index's interval", default=None)
    index_high: float | None = given("upper end", default=None)
    index_why: str | None = given("why the index has no interval", default=None)
    why: str | None = given("why there is no index", default=None)
    recovery: Recovery | None = given("recovery after this fade", default=None)
    test: str | None = given("test, in a compound's file", default=None)


class Pause(Result):
    """The first stop after a pause beside what is expected at its conditions."""

    stop: int = given("first stop after the pause")
    block: str = given("its block")
    pause_h: float = given("length of the pause", "h")
    temperature_c: float | None = given("initial temperature", "degC", default=None)
    mu: float = given("mu of the stop")
    ratio: float = given("mu over the expected mu")
    against: str = given("where the expectation comes from")
    bite_ratio: float | None = given("bite over the expected mu", default=None)
    stops_to_normal: int | None = given(
        "stops until within 3 % of the expected; null if not in the block", default=None
    )


class Question(Result):
    """One question of a side of the duty, with its figure."""

    question: str = given("question")
    answer: Answer = given("answer")
    value: float | None = given("figure behind it", default=None)
    margin_c: float | None = given("margin to the wanted end", "degC", default=None)
    text: str = given("answer in words")


class Side(Result):
    """The low-energy or the high-energy side of the data."""

    side: str = given("which side")
    answer: Answer = given("yes where every question is answered well")
    questions: list[Question] = given("questions")
    text: str = given("answer in words")


class Sides(Result):
    """One verdict over both duties."""

    answer: Answer = given("yes only where both sides are")
    low_energy: Side = given("gentle use")
    high_energy: Side = given("hard use")
    text: str = given("answer in words")


class InStopClass(Result):
    """Slope of mu within stops beside that between stops, in one class of initial temperature."""

    from_c: float = given("from", "degC")
    to_c: float = given("to", "degC")
    stops: int = given("stops")
    in_stop_per_100k: float = given("median slope within stops, mu per 100 K of disc temperature")
    in_stop_u: float = given("its standard uncertainty")
    between_stops_per_100k: float | None = given("mean slope of the map there, mu per 100 K", default=None)
    between_stops_u: float | None = given("its standard uncertainty", default=None)
    rise_k: float | None = given("median rise of the disc temperature in a stop", "K", default=None)
    surface_rise_k: float | None = given("median rise of the estimated surface", "K", default=None)
    in_stop_per_100k_surface: float | None = given("median slope against the estimated surface", default=None)
    agrees: bool | None = given("whether the two slopes agree", default=None)
    text: str | None = given("why they differ", default=None)


class InStopRise(Result):
    """Quartiles of mu_end over mu_start in one class of energy density."""

    energy_from_j_mm2: float = given("from", "J/mm2")
    energy_to_j_mm2: float = given("to", "J/mm2")
    state: str = given("cold (below 200 degC) or warm")
    stops: int = given("stops")
    rise: float = given("median")
    rise_low: float = given("lower quartile")
    rise_high: float = given("upper quartile")


class SurfaceEstimate(Result):
    """What the estimated surface temperature rests on."""

    assumed: list[str] = given("values that are not on the card")
    valid_s: float | None = given("time for which the half space stands for the disc", "s", default=None)
    valid_why: str | None = given("why it is null", default=None)


class InStop(Result):
    """Friction within stops beside friction between stops."""

    classes: list[InStopClass] = given("by initial temperature", default_factory=list)
    rise: list[InStopRise] = given("by energy density", default_factory=list)
    disagreements: list[str] = given("where the two differ, in words", default_factory=list)
    surface: SurfaceEstimate | None = given("the surface estimate", default=None)
    why: str | None = given("why something is missing", default=None)


class ByHand(Result):
    """Stops excluded by hand, and what the test's map would say with them."""

    stops: list[int] = given("the excluded stops")
    of_the_map: list[int] = given("of them, those that the map would use")
    window: Window | None = given("the window with these; null with `window_reason`", default=None)
    window_reason: str | None = given("why there would be no window", default=None)
    why: str | None = given("why nothing was fitted with them", default=None)
