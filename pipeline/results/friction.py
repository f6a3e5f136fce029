"""friction.json of a test, and what a compound's has in common with it.

Windows and curves are stated at the reference conditions where they do not say others, in the method's temperature. What cannot be given is null with
its reason beside it.
"""

from __future__ import annotations

from pipeline.results.friction_blocks import Block, Green, Line, StopScatter
from pipeline.results.friction_history import Bedding, ByHand, Fade, InStop, Pause, Recovery, Sides
from pipeline.results.friction_map import (
    Bite,
    CurvePoint,
    Diagnostics,
    Gap,
    Holds,
    Landmarks,
    LeftOut,
    MapModel,
    Reference,
    Sensitivity,
    Surface,
    Window,
    WindowAt,
    WindowEstimate,
)
from pipeline.results.model import OfTest, Result, Stamp, given
from pipeline.results.support import Extrapolation


class OfMap(Result):
    """What a test's and a compound's friction.json share."""

    stops_used: int = given("stops of the map", default=0)
    reference: Reference | None = given("reference conditions", default=None)
    window: Window | None = given("the window; null with `window_reason`", default=None)
    window_reason: str | None = given("why there is no window", default=None)
    window_estimate: WindowEstimate | None = given(
        "where it ends by best estimate, without the margin for confidence; null where not even the estimate lies inside "
        "the target band",
        default=None,
    )
    windows_at: list[WindowAt] = given("windows at other pressures and energy densities run", default_factory=list)
    windows_at_why: str | None = given("why there is none at other conditions run", default=None)
    wanted_from: str | None = given("where the target band of mu comes from", default=None)
    wanted_mu: list[float] | None = given("target band of mu", default=None)
    holds: Holds | None = given("verdict over the target range; null without a target", default=None)
    curve: list[CurvePoint] = given("mu against temperature at the reference conditions", default_factory=list)
    curve_reason: str | None = given("why there is no curve", default=None)
    extrapolated: list[Extrapolation] = given(
        "where the window (without one the curve) leaves what was run", default_factory=list
    )
    landmarks: Landmarks | None = given("landmarks of the curve", default=None)
    sensitivity: Sensitivity | None = given("local slopes", default=None)
    surfaces: list[Surface] = given("mu over two conditions", default_factory=list)
    bite: Bite | None = given("bite", default=None)
    diagnostics: Diagnostics | None = given("how the map fits", default=None)
    gaps: list[Gap] = given("unsupported ranges between supported ones", default_factory=list)
    common_relative_u: float | None = given("standard uncertainty common to all stops, relative", "1", default=None)
    common_reason: str | None = given("why it is not known", default=None)
    model: MapModel | None = given("what the map is made of", default=None)
    temperature: str | None = given("the method's temperature: initial, mean, peak or end", default=None)
    average: str | None = given("the method's average of mu: distance, time or energy", default=None)
    left_out: list[LeftOut] = given("blocks left out of the map", default_factory=list)
    bedding: Bedding | None = given("bedding; null without a bedding block", default=None)
    fade: Fade | None = given("the deepest fade; null without a fade block", default=None)
    recovery: Recovery | None = given("recovery after it", default=None)
    sides: Sides | None = given("verdict over gentle and hard use", default=None)


class TestFriction(OfTest, OfMap):
    """friction.json of a test."""

    __test__ = False  # not a test class, whatever its name says to a test collector

    blocks: list[Block] = given("every block in the order run", default_factory=list)
    lines: list[Line] = given("mu along lines of pressure and of speed", default_factory=list)
    lines_why: dict[str, str] = given("why there is no line along a condition", default_factory=dict)
    green: Green | None = given("mu before bedding; null without a bedding block", default=None)
    stop_scatter: StopScatter | None = given("what the intervals of blocks, lines and indices rest on", default=None)
    fades: list[Fade] = given("every fade block in the order run", default_factory=list)
    pauses: list[Pause] = given("first stops after pauses", default_factory=list)
    in_stop: InStop | None = given("friction within stops", default=None)
    excluded: ByHand | None = given("stops excluded by hand; null without any", default=None)
    stamp: Stamp | None = given("what the file rests on", default=None)
