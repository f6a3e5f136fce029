"""drift.json: has friction of a test changed at matched conditions, since when, by how much, and by what.

Friction is judged as ln mu, so sizes are shares of the level before unless they say mu. What cannot be given is null
with its reason beside it.
"""

from __future__ import annotations

from typing import Literal

from pipeline.results.model import Interval, Result, Stamp, given

Verdict = Literal["none", "glazing-like", "fade", "bedding-in", "sensor", "moisture", "undetermined"]
Answer = Literal["steady", "moved", "unclear", "missing", "yes", "no", "untested", "by itself"]


class Item(Result):
    """One piece of evidence for or against a cause."""

    answer: Answer = given("of a channel: steady, moved, unclear, missing; of a question: yes, no, unclear, untested")
    value: float | None = given("figure, in `unit`; null where there is none", default=None)
    low: float | None = given("lower end of its interval", default=None)
    high: float | None = given("upper end of its interval", default=None)
    threshold: float | None = given("what the figure is held against, in `unit`", default=None)
    unit: str = given("unit of the figures", default="1")
    words: str = given("the evidence in words")


class Size(Result):
    """Size of a change of friction, of the energy ratio, or of bedding that was not finished."""

    share: float = given("change over the level before (bedding: first check over the settled level)", "1")
    low: float = given("lower end of the interval", "1")
    high: float = given("upper end of the interval", "1")
    mu_before: float | None = given("mean mu before", default=None)
    stops: float | None = given("time constant of bedding", "stops", default=None)
    threshold: float | None = given("share from which it counts", "1", default=None)


class AfterPause(Result):
    """The first stops after a long idle time beside matched stops that moisture cannot touch."""

    stop: int = given("first stop after the pause")
    idle_s: float = given("idle time", "s")
    temperature_c: float | None = given("initial temperature of the first stop", "degC", default=None)
    dip: float = given("weighted change of the first stops' mu, negative where low", "1")
    low: float = given("lower end of the interval", "1")
    high: float = given("upper end of the interval", "1")
    limit: float = given("dip from which it is beyond chance", "1")
    stops: int = given("stops until friction was back")
    beyond: bool = given("whether it is beyond chance and large enough to count")
    touchable: list[int] = given("stops that moisture may have touched")


class HotBlock(Result):
    """A block's change of mu as its stops start ever hotter, beyond what the test's own map shows there."""

    stop: int = given("first stop of the hot half")
    last: int = given("last stop of the block")
    block: str = given("block")
    fall: float = given("change from the cool to the hot third, negative for a fall", "1")
    low: float = given("lower end of the interval", "1")
    high: float = given("upper end of the interval", "1")
    limit: float = given("fall from which it is beyond chance", "1")
    temperature_low_c: float = given("mean initial temperature of the cool third", "degC")
    temperature_high_c: float = given("mean initial temperature of the hot third", "degC")
    beyond: bool = given("whether it is beyond chance and large enough to count")


class Scatter(Result):
    """Scatter of matched stops that the limits rest on; shares of mu."""

    sigma: float = given("standard deviation of a stop", "1")
    rho: float = given("correlation of neighbouring stops")
    u_rho: float = given("its standard uncertainty")
    block_sigma: float = given("standard deviation of a shift common to a block", "1")
    exposed: float = given("factor on sigma for stops of use")
    dof: float = given("degrees of freedom behind sigma")


class Trend(Result):
    """Theil-Sen slope of the largest group of watched stops with the Mann-Kendall test."""

    share_per_100_stops: float | None = given("slope of ln mu per 100 stops", "1", default=None)
    low: float | None = given("lower end of the interval", "1", default=None)
    high: float | None = given("upper end of the interval", "1", default=None)
    p: float | None = given("two-sided p of the test", default=None)
    variance_factor: float | None = given("widening of the test's variance by autocorrelation", default=None)
    why: str | None = given("why there is none", default=None)


EvidenceItem = Item | Size | HotBlock | list[AfterPause]


class Evidence(Result):
    """Why the verdict is what it is."""

    why: str | None = given("what decided the verdict", default=None)
    words: list[str] = given("every finding in words", default_factory=list)
    not_excluded: list[str] = given("causes that the data do not exclude", default_factory=list)
    record_next: list[str] = given("what to record or run next time", default_factory=list)
    items: dict[Verdict, dict[str, EvidenceItem]] = given("by verdict: evidence by name", default_factory=dict)
    matched_stops: int | None = given("watched stops", default=None)
    decided_by: Literal["checks", "use"] | None = given("which stops decide", default=None)
    stray_stops: list[int] = given("single stops far off their block, not used", default_factory=list)
    scatter: Scatter | None = given("scatter that the limits rest on", default=None)
    scatter_why: str | None = given("where the scatter is from, where not the compound's", default=None)
    pauses: list[AfterPause] = given("first stops after every pause", default_factory=list)
    trend: Trend | None = given("monotone trend of the watched stops", default=None)


class UseBetweenChecks(Result):
    """A stretch of use between two blocks of checks, and how friction at the checks changed across it."""

    from_stop: int = given("first stop")
    to_stop: int = given("last stop")
    low_energy_stops: int = given("low-energy stops in it")
    high_energy_stops: int = given("high-energy stops in it")
    power_density_w_mm2: float | None = given("median power density over the pad area", "W/mm2", default=None)
    power_density_low_w_mm2: float | None = given("5 % quantile", "W/mm2", default=None)
    power_density_high_w_mm2: float | None = given("95 % quantile", "W/mm2", default=None)
    temperature_initial_c: float | None = given("median initial temperature", "degC", default=None)
    temperature_low_c: float | None = given("5 % quantile", "degC", default=None)
    temperature_high_c: float | None = given("95 % quantile", "degC", default=None)
    mu_change_share: float = given("change of mu at the checks", "1")
    low: float | None = given("lower end of the interval", "1", default=None)
    high: float | None = given("upper end of the interval", "1", default=None)
    u: float = given("standard uncertainty of the change in ln mu", "1")
    u_before: float | None = given("standard uncertainty of the level of ln mu before it", "1", default=None)
    u_after: float | None = given("standard uncertainty of the level after it", "1", default=None)


class StopsUntil(Interval):
    """Low-energy stops until 3 % of mu is lost; an end is null where that is never reached."""


class Grew(Result):
    """The low-energy use under which a glazing-like fall grew."""

    low_energy_stops: int = given("low-energy stops from the onset on")
    power_density_w_mm2: float | None = given("median power density over the pad area", "W/mm2", default=None)
    power_density_low_w_mm2: float | None = given("5 % quantile", "W/mm2", default=None)
    power_density_high_w_mm2: float | None = given("95 % quantile", "W/mm2", default=None)
    temperature_initial_c: float | None = given("median initial temperature", "degC", default=None)
    temperature_low_c: float | None = given("5 % quantile", "degC", default=None)
    temperature_high_c: float | None = given("95 % quantile", "degC", default=None)
    stops_to_3_percent: StopsUntil = given("low-energy stops until 3 % of mu is lost")


class Cleared(Result):
    """The use that brought the level back."""

    from_stop: int = given("first stop")
    to_stop: int = given("last stop")
    high_energy_stops: int = given("stops in it")
    power_density_w_mm2: float | None = given("median power density over the pad area", "W/mm2", default=None)
    power_density_low_w_mm2: float | None = given("5 % quantile", "W/mm2", default=None)
    temperature_initial_c: float | None = given("median initial temperature", "degC", default=None)
    temperature_low_c: float | None = given("5 % quantile", "degC", default=None)


class Exposure(Result):
    """Use between checks, and what it did to friction."""

    blocks: list[UseBetweenChecks] = given("every stretch of use between blocks of checks", default_factory=list)
    grew: Grew | None = given("under which use a glazing-like fall grew", default=None)
    grew_reason: str | None = given("why that is null", default=None)
    cleared: Cleared | None = given("which use cleared it", default=None)


class ResidualChart(Result):
    """Watched stops about the level before; equally long lists."""

    stop: list[int] = given("stop")
    share: list[float | None] = given("residual over the level", "1")
    block: list[str] = given("block")
    purpose: list[str] = given("purpose of the block")
    baseline: list[bool] = given("whether the stop sets the level")
    scaled: list[float | None] = given("whitened residual, standard deviations")


class UseChart(Result):
    """Stops of use about the start of their own group; equally long lists."""

    stop: list[int] = given("stop")
    share: list[float | None] = given("residual over the level", "1")
    block: list[str] = given("block")


class CusumChart(Result):
    """Cumulative sums of the scaled residuals after the baseline; equally long lists."""

    stop: list[int] = given("stop")
    fall: list[float | None] = given("sum for a fall")
    rise: list[float | None] = given("sum for a rise")
    limit: float = given("limit of both")
    allowance: float = given("allowance k, standard deviations")


class EwmaChart(Result):
    """Exponentially weighted average of the scaled residuals after the baseline; equally long lists."""

    stop: list[int] = given("stop")
    value: list[float | None] = given("average")
    limit: float = given("limit of its size")
    weight: float = given("weight of the newest residual")


class ChartOnset(Result):
    """Onset of the change at matched conditions."""

    stop: int = given("first affected stop")
    low: int = given("lower end of the interval")
    high: int = given("upper end of the interval")
    shape: str = given("shape of the change: step, ramp, glaze")


class RatioChart(Result):
    """Energy ratio of the stops that have one; equally long lists."""

    stop: list[int] = given("stop")
    value: list[float | None] = given("energy ratio")


class ExposureChart(Result):
    """What every stop asked of the brake; equally long lists."""

    stop: list[int] = given("stop")
    power_density_w_mm2: list[float | None] = given("power density over the pad area", "W/mm2")
    temperature_initial_c: list[float | None] = given("initial temperature", "degC")
    energy_density_j_mm2: list[float | None] = given("energy density over the pad area", "J/mm2", default_factory=list)
    low_energy: list[bool] = given("whether the stop is low-energy")
    high_energy: list[bool] = given("whether the stop is high-energy")
    block: list[str] = given("block")
    purpose: list[str] = given("purpose of the block")


class Charts(Result):
    """Arrays of the drift chart, in time order."""

    residual: ResidualChart = given("residuals of the watched stops")
    use: UseChart = given("stops of use beside them")
    cusum: CusumChart = given("cumulative sums")
    ewma: EwmaChart = given("weighted average")
    alarm_stop: int | None = given("first stop at which a chart passed its limit", default=None)
    onset: ChartOnset | None = given("onset of the change", default=None)
    energy_ratio: RatioChart = given("energy ratio")
    exposure: ExposureChart = given("power density and temperature")


class OfStops(Result):
    """What is said of a test's stops: drift.json less its heading."""

    verdict: Verdict | None = given("the change that counts first, by its likeliest cause", default=None)
    onset_stop: int | None = given("first affected stop; null without a change", default=None)
    onset_low: int | None = given("lower end of its interval", default=None)
    onset_high: int | None = given("upper end of its interval", default=None)
    onset_reason: str | None = given("why there is no onset", default=None)
    mu_loss: float | None = given(
        "mu before the onset less that at the last checks before any recovery; positive for a fall", default=None
    )
    mu_loss_low: float | None = given("lower end of its interval", default=None)
    mu_loss_high: float | None = given("upper end of its interval", default=None)
    mu_loss_reason: str | None = given("why there is no loss", default=None)
    mu_loss_share: float | None = given("the loss over the level before", "1", default=None)
    recovered: bool | None = given("whether high-energy stops brought friction back; null untested", default=None)
    recovered_reason: str | None = given("why that is null", default=None)
    also: list[Verdict] = given("verdicts of further changes", default_factory=list)
    evidence: Evidence = given("why", default_factory=Evidence)
    exposure: Exposure | None = given("use between checks", default=None)
    charts: Charts | None = given("arrays of the drift chart", default=None)
    charts_reason: str | None = given("why there are none", default=None)


class DriftByHand(Result):
    """What would be said of the test had its engineer excluded no stop."""

    stops: list[int] = given("the excluded stops")
    verdict: Verdict | None = given("the verdict with them", default=None)
    onset_stop: int | None = given("first affected stop", default=None)
    onset_reason: str | None = given("why there is no onset", default=None)
    mu_loss: float | None = given("loss of mu", default=None)
    mu_loss_reason: str | None = given("why there is no loss", default=None)


class TestDrift(OfStops):
    """drift.json of a test."""

    __test__ = False  # not a test class, whatever its name says to a test collector

    test: str = given("test's id")
    method: str | None = given("method's id", default=None)
    unusable: str | None = given("why there is no verdict of use", default=None)
    why: str | None = given("the same, for the nulls", default=None)
    excluded: DriftByHand | None = given("stops excluded by hand; null without any", default=None)
    stamp: Stamp | None = given("what the file rests on", default=None)
