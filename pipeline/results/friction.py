"""friction.json: the friction map of a test, or of a compound over all its tests.

Windows and curves are stated at the reference conditions, in the method's temperature. What cannot be given is null with
its reason beside it.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pipeline.results.model import Interval, Result, Stamp, given

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
    why: str | None = given("why there is none", default=None)


class Window(Result):
    """The widest unbroken temperature range whose tolerance band lies inside the wanted band of mu."""

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


class Stretch(Result):
    """A range of temperatures and what is said of it."""

    from_c: float = given("from", "degC")
    to_c: float = given("to", "degC")
    what: str = given("what is found there, in words")


class Holds(Result):
    """Does friction hold over the wanted window of the target?"""

    answer: Answer = given("yes: shown at every wanted temperature; no: shown to fail at one; not shown: neither")
    from_c: float = given("wanted from", "degC")
    to_c: float = given("wanted to", "degC")
    fails: list[Stretch] = given("ranges shown to fail", default_factory=list)
    not_shown: list[Stretch] = given("ranges not shown or without data", default_factory=list)
    why: str = given("the answer in words")


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
    inside_wanted: Answer = given("whether single stops lie in the wanted band there")


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
    joint: list[JointSlope] = given("conditions that cannot be told apart, taken together", default_factory=list)


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


class MapModel(Result):
    """What the map is made of."""

    effects: str = given("whether effects multiply mu or add to it")
    energy_form: str = given("form of the energy density")
    kept: list[str] = given("effects in the map")
    dropped: dict[str, str] = given("effects left out, and why")
    moved_together: list[list[str]] = given("pairs that the design cannot separate")
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


class OfMap(Result):
    """What a test's and a compound's friction.json share."""

    stops_used: int = given("stops of the map", default=0)
    reference: Reference | None = given("reference conditions", default=None)
    window: Window | None = given("the window; null with `window_reason`", default=None)
    window_reason: str | None = given("why there is no window", default=None)
    wanted_from: str | None = given("where the wanted band of mu comes from", default=None)
    wanted_mu: list[float] | None = given("wanted band of mu", default=None)
    holds: Holds | None = given("verdict over the wanted window; null without a target", default=None)
    curve: list[CurvePoint] = given("mu against temperature at the reference conditions", default_factory=list)
    curve_reason: str | None = given("why there is no curve", default=None)
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


class TestFriction(OfMap):
    """friction.json of a test."""

    __test__ = False  # not a test class, whatever its name says to a test collector

    test: str = given("test's id")
    method: str | None = given("method's id", default=None)
    unusable: str | None = given("why there is no friction", default=None)
    fades: list[Fade] = given("every fade block in the order run", default_factory=list)
    pauses: list[Pause] = given("first stops after pauses", default_factory=list)
    in_stop: InStop | None = given("friction within stops", default=None)
    stamp: Stamp | None = given("what the file rests on", default=None)


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
    wanted_from: str | None = given("where the wanted band comes from", default=None)
    holds: Holds | None = given("verdict over the wanted window", default=None)
    curve: list[CurvePoint] = given("mu against temperature at the reference conditions", default_factory=list)
    curve_reason: str | None = given("why there is no curve", default=None)


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


class CardValue(Result):
    """A value that some of the cards state."""

    value: str = given("as the page shows it")
    tests: list[str] = given("tests whose cards state it")


class CardDifference(Result):
    """A fact of the brake in which the tests' cards differ."""

    field: str = given("field of the card")
    enters: list[str] = given("numbers that are computed with it")
    values: list[CardValue] = given("which cards state what, most first")


class CompoundFriction(OfMap):
    """friction.json of a compound."""

    compound: str = given("compound")
    method: str | None = given("method's id", default=None)
    unusable: str | None = given("why there is no friction", default=None)
    tests_left_out: dict[str, str] = given("tests that could not be used, and why", default_factory=dict)
    card_differences: list[CardDifference] = given("where the tests' cards differ", default_factory=list)
    specimens: list[Specimen] = given("levels of the specimens", default_factory=list)
    between: Between | None = given("scatter between specimens and batches", default=None)
    by_batch: list[OfBatch] = given("each batch by itself; empty for one batch", default_factory=list)
    further_batch: FurtherBatch | None = given("where a further batch lies", default=None)
    changed: list[Changed] = given("tests cut at a drift's onset", default_factory=list)
    tests: list[OneTest] = given("every test", default_factory=list)
    glaze_limit: GlazeLimit | None = given("limit of low-energy use", default=None)
    stamp: Stamp | None = given("what the file rests on", default=None)
