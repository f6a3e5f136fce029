"""Parts of friction.json that the map gives: curve, window, landmarks, slopes, surfaces, how the map fits."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pipeline.results.model import Interval, Result, given
from pipeline.results.support import Extrapolation

Answer = Literal["yes", "no", "not shown"]


class Reference(Result):
    """The conditions at which curve and window are stated: medians of the check stops (map stops without checks)."""

    temperature_c: float | None = given("the method's temperature", "degC", default=None)
    pressure_bar: float | None = given("line pressure", "bar", default=None)
    speed_rpm: float | None = given("shaft speed at the start", "rpm", default=None)
    energy_density_j_mm2: float | None = given("friction work over the pads' friction area", "J/mm2", default=None)
    why: dict[str, str] | None = given("by key, why a condition is null", default=None)


class FrictionClass(Result):
    """Class of a mean mu by the bounds in common use for brake linings (the ranges of SAE J866, 2019)."""

    letter: str = Field(alias="class", description="letter of the range")
    over: float | None = given("lower bound, excluded; null for an open end", default=None)
    to: float | None = given("upper bound, included; null for an open end", default=None)


class EndInterval(Result):
    """Where an end of the window lies with the file's confidence."""

    low: float | None = given("lower end of the interval", "degC", default=None)
    high: float | None = given("upper end of the interval", "degC", default=None)
    beyond_data: bool = given("whether it reaches the end of the data: the end may lie there or beyond", default=False)
    why: str | None = given("why there is none", default=None)


class Window(Result):
    """The widest unbroken temperature range whose tolerance band lies inside the target band of mu."""

    low_c: float = given("lower end", "degC")
    high_c: float = given("upper end", "degC")
    low_limited_by: Literal["band", "data"] = given("what ends it below")
    high_limited_by: Literal["band", "data"] = given("what ends it above")
    low_why: str = given("the lower end in words")
    high_why: str = given("the upper end in words")
    low_interval_c: EndInterval = given("interval of the lower end", "degC")
    high_interval_c: EndInterval = given("interval of the upper end", "degC")
    mu_mean: float = given("mean of the curve in the window")
    mu_low: float = given("lowest of the curve in the window")
    mu_high: float = given("highest of the curve in the window")
    mu_class: FrictionClass = given("class of the mean")
    confidence: float = given("confidence of the tolerance band", "1")
    coverage: float = given("share of single stops inside", "1")
    thermocouple_u_k: float | None = given(
        "standard uncertainty of the thermocouple's bias, taken as common to all tests, in the intervals of its ends",
        "K",
        default=None,
    )


class WindowEstimate(Result):
    """Where the window ends by best estimate: the middle of single stops (the coverage) leaves the target band there. It has no
    margin for confidence and decides nothing; the window itself is the careful answer."""

    low_c: float = given("lower end by best estimate", "degC")
    high_c: float = given("upper end by best estimate", "degC")
    low_limited_by: Literal["band", "data"] = given("what ends it below")
    high_limited_by: Literal["band", "data"] = given("what ends it above")
    low_interval_c: EndInterval = given("interval of the lower end", "degC")
    high_interval_c: EndInterval = given("interval of the upper end", "degC")
    confidence: float = given("confidence of the intervals", "1")
    coverage: float = given("share of single stops inside", "1")
    thermocouple_u_k: float | None = given(
        "standard uncertainty of the thermocouple's bias, taken as common to all tests, in the intervals of its ends",
        "K",
        default=None,
    )


class Stretch(Result):
    """A range of temperatures and what is said of it."""

    from_c: float = given("from", "degC")
    to_c: float = given("to", "degC")
    what: str = given("what is found there, in words")


class Holds(Result):
    """Does friction hold over the target range?"""

    answer: Answer = given("yes: shown at every wanted temperature; no: shown to fail at one; not shown: neither")
    from_c: float = given("wanted from", "degC")
    to_c: float = given("wanted to", "degC")
    fails: list[Stretch] = given("ranges shown to fail", default_factory=list)
    not_shown: list[Stretch] = given("ranges not shown or without data", default_factory=list)
    why: str = given("the answer in words")
    at: str | None = given("conditions that the target asks for; null: the reference's", default=None)


class CurvePoint(Result):
    """mu at one temperature and the other reference conditions."""

    temperature_c: float = given("the method's temperature", "degC")
    mu: float = given("mean")
    low: float = given("lower end of the mean's confidence band")
    high: float = given("upper end of the mean's confidence band")
    tolerance_low: float = given("lower end of the tolerance band, for one future stop")
    tolerance_high: float = given("upper end of the tolerance band, for one future stop")
    stretch: int = given("number of the unbroken stretch of supported temperatures")
    stops_near: int = given("stops that support the value")
    thin: bool = given("whether they are few")
    u_curve: float = given("standard uncertainty of the mean without calibration")
    u_common: float = given("standard uncertainty from calibration, common to all stops")
    scatter: float = given("standard deviation of single stops")
    dof_mean: float = given("degrees of freedom of the mean")
    dof_scatter: float = given("degrees of freedom of the scatter")
    tolerance_factor: float = given("factor of the tolerance band")
    inside_wanted: Answer = given("whether single stops lie in the target band there")
    tested: bool = given("whether stops were run near, temperature and conditions together", default=True)


class Gap(Result):
    """A range between supported temperatures without data: no value is given there."""

    from_c: float = given("from", "degC")
    to_c: float = given("to", "degC")


class Landmark(Interval):
    """A figure of the curve with its interval, and where it stands."""

    temperature_c: float | None = given("temperature of the figure", "degC", default=None)
    from_c: float | None = given("start of the range", "degC", default=None)
    to_c: float | None = given("end of the range", "degC", default=None)
    note: str | None = given("a reservation", default=None)
    slope_per_100c: float | None = given("slope there, mu per 100 K", default=None)
    climb_share: float | None = given("climb over the plateau's mu", default=None)
    share: float | None = given("change over the plateau's mu", default=None)
    sign: Literal["rises", "falls", "not shown"] | None = given("direction of the change", default=None)


class Landmarks(Result):
    """Cold friction, transition, plateau and change at high temperature of the curve."""

    cold_friction: Landmark = given("mu at the coldest supported temperature")
    transition: Landmark = given("temperature of the fastest climb", "degC")
    plateau: Landmark = given("mean mu of the flattest 100 K above the transition")
    high_temperature_change: Landmark = given("mu at the hottest supported temperature less the plateau's")


class Slope(Interval):
    """A local slope with its interval; null with `why` where the design cannot separate it."""

    from_c: float | None = given("temperatures over which the slope is a mean: from", "degC", default=None)
    to_c: float | None = given("to", "degC", default=None)


class JointSlope(Interval):
    """The slope of two conditions that the design moved together."""

    effects: list[str] = given("the two conditions")
    per: str = given("unit of the condition, as in the keys of `sensitivity`")
    meaning: str = given("what moves with what")


class Sensitivity(Result):
    """Local slopes of mu at the reference conditions."""

    temperature_per_100c: Slope = given("mean slope over the window (over the data without one), per 100 K")
    pressure_per_10bar: Slope = given("per 10 bar")
    speed_per_100rpm: Slope = given("per 100 rpm")
    energy_per_j_mm2: Slope = given("per J/mm2")
    joint: list[JointSlope] = given("conditions that cannot be separated, taken together", default_factory=list)


class Surface(Result):
    """mu as a grid over two conditions, the others at the reference; null where the data do not support a value."""

    x: str = given("condition along the rows")
    y: str = given("condition along the columns")
    x_values: list[float] = given("grid of x")
    y_values: list[float] = given("grid of y")
    mu: list[list[float | None]] = given("rows of y")
    u: list[list[float | None]] = given("standard uncertainty, alike")


class BiteAt(Result):
    """mu_bite beside mu over some stops."""

    temperature_c: float = given("median of the method's temperature", "degC")
    mu_bite: float = given("mean bite")
    mu: float = given("mean mu")
    ratio: float = given("mean of bite over mu")
    stops: int = given("stops")


class Bite(Result):
    """Bite at the reference checks and in the coldest tenth of the map's stops."""

    reference: BiteAt | None = given("at the checks", default=None)
    coldest: BiteAt | None = given("in the coldest tenth", default=None)
    why: str | None = given("why there is none", default=None)


class Residual(Result):
    """How one stop lies on the map."""

    test: str | None = given("test, in a compound's file", default=None)
    stop: int = given("stop")
    block: str | None = given("block", default=None)
    standardised: float = given("misfit over the scatter of a stop there")
    influence: float = given("share of its own value in its fitted value")
    held_back: bool = given("whether it counts less, as a stray")


class Diagnostics(Result):
    """How well the map fits its stops."""

    stops: list[Residual] = given("every stop")
    most_influential: list[Residual] = given("the stops of most influence")
    beyond_two_sd_share: float = given("share of stops beyond two standard deviations")
    skewness: float = given("skewness of the residuals")
    neighbour_correlation: float = given("correlation of neighbours")
    trend_sd_over_test: float = given("trend over the test, in standard deviations")
    trend_u_sd: float = given("its standard uncertainty")


class Form(Result):
    """A form of the map that was compared."""

    form: str = given("form in words")
    cv_rms: float = given("root mean square relative error of stops left out")
    kept: bool = given("whether it was chosen")
    why: str | None = given("what an effect is worth", default=None)


class MissedIn(Result):
    """How far the stops of one test at a set of conditions lie off the map."""

    test: str = given("test")
    stops: int = given("stops there")
    share: float = given("their mean over the map's, less 1", "1")


class Missed(Result):
    """A set of conditions that the map misses."""

    temperature_c: float = given("the method's temperature", "degC")
    pressure_bar: float | None = given("line pressure", "bar")
    speed_rpm: float | None = given("shaft speed at the start", "rpm")
    energy_density_j_mm2: float | None = given("friction work over the pads' friction area", "J/mm2")
    stops: int = given("stops there")
    share: float = given("their mean over the map's, less 1", "1")
    by_test: list[MissedIn] = given("the same test by test, in a compound's file", default_factory=list)
    signs_differ: bool = given(
        "whether it is missed upwards in one test and downwards in another: specimens or runs may be a part of it",
        default=False,
    )


class LackOfFit(Result):
    """What the map misses, parted from the scatter of stops by repeats at one set of conditions."""

    f: float | None = given("F of the pure-error test", default=None)
    p: float | None = given("its p value: chance of such an F where the map misses nothing", default=None)
    dof_missed: float | None = given("degrees of freedom of the lack of fit", default=None)
    dof_pure: int | None = given("degrees of freedom of the pure error", default=None)
    missed_sd: float | None = given("standard deviation of what is missed where the curve is flat", "1", default=None)
    missed_sd_most: float | None = given("the same where the curve is steepest", "1", default=None)
    stop_sd: float | None = given("standard deviation of single stops", "1", default=None)
    where: list[Missed] = given("sets of conditions shown to be missed, the farthest off first", default_factory=list)
    why: str | None = given("why it was not parted; the scatter then holds it", default=None)


class Shift(Result):
    """How far a condition moves the curve along the temperature."""

    condition: str = given("pressure, speed or energy")
    kelvin: float = given("from its lowest to its highest run", "K")
    u: float = given("its standard uncertainty", "K")


class WindowAt(Result):
    """The window at another pressure and energy density than the reference's, inside what was run."""

    pressure_bar: float = given("line pressure", "bar")
    speed_rpm: float = given("shaft speed at the start", "rpm")
    energy_density_j_mm2: float = given("friction work over the pads' friction area", "J/mm2")
    asked: bool = given("whether the target asks for it")
    from_c: float | None = given("coldest supported there", "degC", default=None)
    to_c: float | None = given("hottest supported there", "degC", default=None)
    window: Window | None = given("the window; null with `window_reason`", default=None)
    window_reason: str | None = given("why there is none", default=None)
    window_estimate: WindowEstimate | None = given(
        "where it ends by best estimate; null where not even the estimate lies inside the target band", default=None
    )
    curve: list[CurvePoint] = given("mu against temperature there", default_factory=list)
    extrapolated: list[Extrapolation] = given(
        "where its window (without one its curve) leaves what was run", default_factory=list
    )


class MapModel(Result):
    """What the map is made of."""

    effects: str = given("whether effects multiply mu or add to it")
    energy_form: str = given("form of the energy density")
    kept: list[str] = given("effects in the map")
    dropped: dict[str, str] = given("effects left out, and why")
    moved_together: list[list[str]] = given("pairs that the design cannot separate")
    interacts: bool = given("whether temperature interacts with pressure, speed and energy density")
    shifts: list[Shift] = given("how far conditions move the curve along the temperature", default_factory=list)
    lack_of_fit: LackOfFit | None = given("what the map misses", default=None)
    compared: list[Form] = given("forms compared by cross-validation")
    chosen_because: str = given("why this form")
    effective_parameters: float = given("effective number of parameters")
    autocorrelation: float = given("correlation of neighbouring stops")
    strays_held_back: int = given("stops that count less")


class LeftOut(Result):
    """A block that says nothing about the material's map."""

    block: str = given("block")
    stops: list[int] = given("its stops")
    shift: float | None = given("median of ln(mu / map)", "1", default=None)
    u: float | None = given("its standard uncertainty", "1", default=None)
    why: str = given("why it is left out")
    test: str | None = given("test, in a compound's file", default=None)
