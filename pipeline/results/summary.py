"""summary.json of a test: what the stops show of the test as a whole, its sensors, and how far they can be trusted."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pipeline.results.model import OfTest, Result, Stamp, given


class StopCounts(Result):
    """Stops by status."""

    ok: int = given("of use to every model", default=0)
    suspect: int = given("with a number that stays out of the models, unless the method says otherwise", default=0)
    rejected: int = given("without a friction coefficient; energy and wear are counted", default=0)


class BlockMean(Result):
    """What leaving stops out does to the mean of a block that has stops which are not ok."""

    block: str = given("block")
    ok: int = given("its stops that are ok")
    suspect: int = given("its suspect stops")
    rejected: int = given("its rejected stops")
    mu_without: float | None = given("mean over the ok stops", default=None)
    mu_with: float | None = given("mean over the suspect ones as well", default=None)
    difference: float | None = given("with less without", default=None)


class TimeBase(Result):
    """Sampling over the brakings."""

    rate_hz: float | None = given("median rate", "Hz", default=None)
    rate_low_hz: float | None = given("lowest", "Hz", default=None)
    rate_high_hz: float | None = given("highest", "Hz", default=None)
    jitter: float | None = given("median scatter of the sampling time over the step", "1", default=None)
    why: str | None = given("why there is no rate", default=None)


class Offsets(Result):
    """Readings at zero pressure and at rest, subtracted."""

    torque_nm: float | None = given("torque's zero", "N m", default=None)
    torque_u_nm: float | None = given("its standard uncertainty", "N m", default=None)
    torque_u_why: str | None = given("why that says little", default=None)
    torque_and_drag_u_nm: float | None = given("standard uncertainty of zero and drag together", "N m", default=None)
    torque_spread_nm: float | None = given("spread of the stops' own readings", "N m", default=None)
    pressure_bar: float | None = given("pressure at rest", "bar", default=None)
    pressure_spread_bar: float | None = given("spread of the stops' own readings", "bar", default=None)
    told_apart: bool = given("whether the torque's zero and the drag were separated")
    how: str = given("what they were separated by, or why not")
    torque_turned: bool = given("whether torque counted the other way and was turned round")


class Drag(Result):
    """Drag torque a + b w of the bearings."""

    a_nm: float | None = given("constant part", "N m", default=None)
    b_nm_per_rad_s: float | None = given("per shaft speed", "N m s/rad", default=None)
    includes_drag: bool = given("whether the torque sensor sees it")
    why: str | None = given("what to mind", default=None)


class Lag(Result):
    """Delay between torque and pressure."""

    value: float | None = given("torque behind pressure", "s", default=None)
    u: float | None = given("its standard uncertainty", "s", default=None)
    spread: float | None = given("spread over the stops", "s", default=None)
    stops: int = given("stops behind it")
    significant: bool = given("whether it is clear of zero")
    applied: float | None = given("what the later channel was moved by", "s", default=None)
    late: str | None = given("the later channel", default=None)
    speed_late: float | None = given("what the shaft's slowing is recorded behind the torque by", "s", default=None)
    torque_behind_shaft: float | None = given("torque behind the shaft's slowing", "s", default=None)
    why: str | None = given("why it is null, or why nothing was moved", default=None)


class Candidate(Result):
    """What a balance off by one factor may come from."""

    cause: str = given("cause")
    factor: float | None = given("ratio that it would give", "1", default=None)
    residual: float | None = given("measured ratio over that, less 1", "1", default=None)
    not_told_apart_from: str | None = given("what it cannot be told from", default=None)


class EnergyBalance(Result):
    """Work of friction and drag over the energy taken from the shaft, over the test."""

    ratio_median: float | None = given("median of the stops' ratios", "1", default=None)
    ratio_scatter: float | None = given("robust standard deviation of a stop's ratio", "1", default=None)
    trend_per_100_stops: float | None = given("robust slope, per 100 stops", "1", default=None)
    trend_u: float | None = given("its standard uncertainty", "1", default=None)
    trend_why: str | None = given("why there is no trend", default=None)
    gain: float | None = given("slope of the shaft's torque on the measured one", "1", default=None)
    gain_low: float | None = given("lower end of its interval", "1", default=None)
    gain_high: float | None = given("upper end of its interval", "1", default=None)
    gain_why: str | None = given("why there is no such line", default=None)
    intercept_nm: float | None = given("intercept of that line", "N m", default=None)
    intercept_u_nm: float | None = given("its standard uncertainty", "N m", default=None)
    candidates: list[Candidate] = given("what a ratio off 1 may come from", default_factory=list)
    why: str | None = given("why there is no ratio", default=None)


class Share(Result):
    """One source of the uncertainty of mu."""

    source: str = given("source")
    relative_u: float | None = given("relative standard uncertainty of mu from it", "1", default=None)
    part: Literal["common", "stop"] = given("common to all stops of the test, or of a single stop")
    note: str | None = given("what it rests on", default=None)
    why: str | None = given("why it is null", default=None)


class MissingStop(Result):
    """A scheduled stop that was run and has no recording."""

    run_number: int = given("number in the order run")
    block: str = given("its block")
    energy_kj: float | None = given("its friction work", "kJ", default=None)
    taken_from: str = Field(alias="from", description="where that comes from")
    why: str | None = given("why it is null", default=None)


class ChannelUnit(Result):
    """How far the test bears out the unit that the card states for a channel."""

    channel: str = given("channel")
    unit: str = given("unit on the card")
    vouched_by: list[str] = given("what bears it out", default_factory=list)
    not_verifiable: list[str] = given("units that nothing in the test tells it from", default_factory=list)
    why: str | None = given("why not", default=None)


class ChannelUse(Result):
    """What a channel of the card was used for."""

    channel: str = given("channel")
    used_for: str = given("in words")
    found: str | None = given("what it says of others, where it was held against them", default=None)


class Calibrated(Result):
    """A correction that the rig's calibration gave, applied before everything else."""

    quantity: Literal["torque_gain", "torque_zero", "pressure_gain", "pressure_zero"] = given(
        "gain: reading over true value, the readings are divided by it; zero: reading of nothing, subtracted"
    )
    value: float = given("its value, in `unit`")
    u: float | None = given("its standard uncertainty, in `unit`; null where none is stated", default=None)
    unit: str = given("1, N m or bar")
    found: str = given("date of the event that states it")
    since: str = given("date from which it is in effect")
    later: list[str] = given("later events that may have ended it", default_factory=list)


class TestSummary(OfTest):
    """summary.json of a test."""

    __test__ = False  # not a test class, whatever its name says to a test collector

    reprocessable: bool = given("false where only a table of reduced rows was kept", default=True)
    stops: StopCounts = given("stops by status", default_factory=StopCounts)
    block_means: list[BlockMean] = given("blocks with stops that are not ok", default_factory=list)
    time_base: TimeBase | None = given("sampling", default=None)
    offsets: Offsets | None = given("zeros of torque and pressure", default=None)
    drag: Drag | None = given("drag torque", default=None)
    lag_s: Lag | None = given("delay between torque and pressure", "s", default=None)
    energy_balance: EnergyBalance | None = given("energy balance over the test", default=None)
    mu_u_common_relative: float | None = given(
        "part of u(mu) that all stops share, relative; of the sensors, radius and area", "1", default=None
    )
    mu_u_common_relative_why: str | None = given("why it is null", default=None)
    budget: list[Share] = given("uncertainty of mu by source", default_factory=list)
    calibrations: list[Calibrated] = given("corrections by the rig's calibrations", default_factory=list)
    missing: list[MissingStop] = given("stops run without a recording", default_factory=list)
    schedule_scales: dict[str, float] | None = given("measured over wanted level, by channel", default=None)
    effective_radius_m: float | None = given("radius that mu is computed with", "m", default=None)
    piston_area_m2: float | None = given("piston area of one side that mu is computed with", "m2", default=None)
    units: list[ChannelUnit] = given("units of the channels", default_factory=list)
    channels: list[ChannelUse] = given("channels and what they were used for", default_factory=list)
    why: str | None = given("why fields are null", default=None)
    stamp: Stamp | None = given("what the file rests on", default=None)
