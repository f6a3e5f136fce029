"""duty.json: a compound on each duty: disc temperature, share of energy in the window, wear, life, opening to run.

Temperatures are the disc's bulk. Temperatures and shares are those of the settled cycle; wear and life are those of a
use, its first cycles included.
"""

from __future__ import annotations

from pipeline.results.both import BothDuties
from pipeline.results.cards import CardDifference
from pipeline.results.driven import DrivenLog
from pipeline.results.model import Interval, OfCompound, Result, Stamp, given
from pipeline.results.openings import FilmArea, FilmLoss, NotExcluded, OpeningLimit, SettlingTest
from pipeline.results.sources import HeatInput, Sourced
from pipeline.results.support import Basis, Extrapolation, MapTest

RIG_AIR = "cool-downs on the rig"  # how the source of a cooling that is the rig's own begins


class Span(Result):
    """A range."""

    low: float = given("lower end")
    high: float = given("upper end")


class Projected(Sourced):
    """A projected figure."""

    ground: str | None = given("what it rests on where no wear law is identified", default=None)


class DutySupport(Result):
    """How much of a duty's conclusions rests on conditions that were tested (the rule: docs/friction.md, "What was run")."""

    friction_share: float = given("share of the energy braked at conditions whose friction was tested", "1")
    window_share_tested: float | None = given("share of the energy in the window and tested", "1", default=None)
    window_share_extrapolated: float | None = given("in the window, its friction extrapolated", "1", default=None)
    window_basis: Basis | None = given("how the share in the window stands; null without a share", default=None)
    opening_tested: Span | None = given(
        "lowest and highest share of the energy in the window and tested, over the opening to run", "1", default=None
    )
    opening_basis: Basis | None = given("how the opening to run stands, at its best opening", default=None)
    wear_share: dict[str, float] = given(
        "by component, share of its loss at conditions that its readings cover", "1", default_factory=dict
    )
    wear_basis: dict[str, Basis] = given("how each component's wear stands", default_factory=dict)
    life_basis: Basis | None = given("how the life stands, by the component that ends it", default=None)
    map_test: MapTest | None = given("map stops that would test its friction; null where it is tested", default=None)
    map_test_why: str | None = given("why none are named", default=None)
    extrapolations: list[Extrapolation] = given(
        "every direction in which a conclusion leaves what was run", default_factory=list
    )


class DutyCooling(Result):
    """Convection of the whole disc: h0 + opening h1 v^0.8, v in m/s."""

    h0_w_k: float = given("h0", "W/K")
    h1: float = given("h1, in W/K per (m/s)^0.8")
    source: str = given("where the figures come from")
    rig_air_at_any_speed: bool = given("whether the rig's air is taken at any speed")


class Burnt(Result):
    """What oxidation takes of the disc over its life on a duty; a caution, never a release."""

    burnt: float | None = given("mass burnt as wear of the faces, of the new disc's", "1", default=None)
    batch: str | None = given("batch that burns most, by whose law it is; null: all together", default=None)
    inside: Interval = given("mass burnt that no thickness shows, of the new disc's", "1", default_factory=Interval)
    limit: float = given("share from which strength is in doubt (common practice)", "1")
    beyond: bool | None = given("whether one of them, or both together, lie beyond it", default=None)
    why: str | None = given("why there is no figure", default=None)


class WornDisc(Result):
    """The settled cycle of a disc at its minimum thickness."""

    mass_kg: float = given("its mass", "kg")
    temperature_low_c: float = given("lowest temperature", "degC")
    temperature_high_c: float = given("highest temperature", "degC")
    window_share: float | None = given("share of the energy in the window", "1", default=None)


class SweepRow(Result):
    """A use at one cooling opening; temperatures and shares are those of its settled cycle."""

    opening: float = given("cooling opening", "1")
    temperature_low_c: float = given("lowest temperature", "degC")
    temperature_high_c: float = given("highest temperature", "degC")
    window_share: float | None = given("share of the energy in the window", "1", default=None)
    window_share_tested: float | None = given("of it, what has friction that was tested", "1", default=None)
    glazing_share: float | None = given("share of the energy in glazing-prone conditions", "1", default=None)
    wear_um_per_cycle: dict[str, Projected] = given("wear by component, over a use", "um", default_factory=dict)
    life_km: float | None = given("life from new thickness to the minimum, of `life_of`", "km", default=None)
    life_km_low: float | None = given("lower end of its interval", "km", default=None)
    glazing_loss: FilmLoss | None = given("share of mu lost by glazing over one use", "1", default=None)
    glazing_loss_three_uses: FilmLoss | None = given("over three uses in a row", "1", default=None)
    life_of: str | None = given("batch whose life it is, the shortest; null: all batches together", default=None)
    pooled_life_km: float | None = given("life by the laws of all batches together", "km", default=None)
    extrapolated: list[str] = given("where it leaves what the rig showed", default_factory=list)


class CycleHistory(Result):
    """Bulk temperature over the settled cycle."""

    time_s: list[float] = given("time", "s")
    temperature_c: list[float] = given("temperature", "degC")


class LoggedEvent(Result):
    """A braking that was cut from a log."""

    start_s: float = given("when it begins, from the log's first sample", "s")
    from_kmh: float = given("speed at its start", "km/h")
    to_kmh: float = given("speed at its end", "km/h")
    brake_time_s: float = given("its duration", "s")
    then_s: float = given("time to the next; of the last to the log's end and from its start to the first", "s")
    at_kmh: float = given("speed in that time that cools alike: by the mean of v^0.8", "km/h")
    work_ratio: float | None = given(
        "work of the recorded deceleration over the change of kinetic energy", "1", default=None
    )


class LogTemperature(Result):
    """The duty's model, run on the log's events, less the log's disc temperature, at the end of each cool-down."""

    rms_k: float | None = given("root mean square of the difference", "K", default=None)
    largest_k: float | None = given("largest difference, model less log", "K", default=None)
    largest_at_s: float | None = given("when", "s", default=None)
    points: int = given("points compared", default=0)
    measured_highest_c: float | None = given("highest temperature logged", "degC", default=None)
    measured_highest_after_last_c: float | None = given(
        "highest temperature logged after the last braking", "degC", default=None
    )
    measured_end_c: float | None = given("temperature at the log's end", "degC", default=None)
    why: str | None = given("why nothing is compared", default=None)


class LogCooling(Result):
    """Cooling fitted to the log's cool-downs, intervals by their scatter at the confidence of the duty's settings."""

    h0_w_k: Interval | None = given("convection in still air", "W/K", default=None)
    h1: Interval | None = given("by the air's speed, in W/K per (m/s)^0.8", default=None)
    conductance_w_k: Interval | None = given("convection at the mean of v^0.8 in the log", "W/K", default=None)
    conductance_u: float | None = given(
        "standard uncertainty of its logarithm, widened where few stretches tell it", "1", default=None
    )
    thermocouple_u: float | None = given(
        "what the disc thermocouple's bias makes of it beside; both count where the projection uses it",
        "1",
        default=None,
    )
    stretches: int = given("stretches of cooling used", default=0)
    used: bool = given("whether the projection uses it (the duty says `cooling: log`)", default=False)
    why: str | None = given("why it is not told, or not to be used", default=None)


class DutyLog(Result):
    """What the duty's log came to."""

    file: str = given("the log")
    told_by: str = given("what tells braking: line pressure, recorded deceleration or slope of the speed")
    duration_s: float = given("duration of the log", "s")
    distance_km: float = given("its length by the speed", "km")
    events: list[LoggedEvent] = given("brakings", default_factory=list)
    work_ratio: float | None = given("as of an event, of all together", "1", default=None)
    work_ratio_why: str | None = given("why it is not given", default=None)
    temperature: LogTemperature | None = given("model against the log's disc temperature", default=None)
    cooling: LogCooling | None = given("cooling by the log", default=None)
    notes: list[str] = given("what to know of the cut", default_factory=list)


class LinePressure(Interval):
    """Line pressure that a braking of the settled cycle needs, by the friction map; interval of the mean friction."""

    deceleration_mps2: float = given("mean deceleration of the braking", "m/s2")
    torque_nm: float = given("mean torque at this brake", "N m")
    temperature_c: float = given("temperature that the map takes, of the braking", "degC")
    mu: float | None = given("friction coefficient there", "1", default=None)
    batch: str | None = given("batch with the least friction, by which it is; null: all together", default=None)
    pooled_bar: float | None = given("the same by all batches together; null where that is it", "bar", default=None)


class DutyWindow(Result):
    """The window that a duty is held against where batches are not shown equivalent in friction: that of the batches together."""

    low_c: float | None = given("highest of the batches' lower ends", "degC", default=None)
    high_c: float | None = given("lowest of their upper ends", "degC", default=None)
    why: str = given("why it is not that of all together, and whose ends it has; or why there is none")
    pooled_low_c: float | None = given("lower end of the compound's window", "degC", default=None)
    pooled_high_c: float | None = given("its upper end", "degC", default=None)


class Soak(Result):
    """The disc after the last braking of a use, the vehicle standing: no air but what rises."""

    highest_c: float = given("highest bulk temperature, at the end of the last braking", "degC")
    after_s: list[float] = given("times after it", "s")
    temperature_c: list[float] = given("bulk temperature then", "degC")
    seconds_above: float | None = given("time above the window's upper end", "s", default=None)


class BatchLife(Result):
    """One batch on a duty, by its own wear laws."""

    batch: str = given("batch")
    specimens: int = given("specimens whose wear was read")
    wear_um_per_cycle: dict[str, Projected] = given("wear by component, over a use", "um", default_factory=dict)
    life_cycles: Projected = given("cycles from new thickness to the minimum")
    life_km: Projected = given("the same as a distance", "km")
    life_limited_by: str | None = given("component that ends it", default=None)
    life_by_component: dict[str, Projected] = given("cycles of each component", default_factory=dict)
    not_parted: list[str] = given("components whose readings do not tell its mechanisms apart", default_factory=list)
    wear_shares: dict[str, dict[str, float]] = given(
        "share of each mechanism in each component's wear", "1", default_factory=dict
    )
    wear_share: dict[str, float] = given(
        "by component, share of its loss at conditions that the batch's own readings cover", "1", default_factory=dict
    )
    extrapolations: list[Extrapolation] = given(
        "every direction in which its wear leaves what its readings cover", default_factory=list
    )


class WorstLife(Result):
    """The batch whose life is the shortest by central estimate, and the specimen of it that wears most on the duty."""

    batch: str = given("batch")
    component: str | None = given("component that ends its life", default=None)
    specimen: str | None = given("specimen", default=None)
    specimen_factor: float | None = given(
        "its wear over its batch's, drawn to the batch by its noise", "1", default=None
    )
    life_cycles: Projected = given("the batch's life, the upper end widened for being the shortest of several")
    life_km: Projected = given("the same as a distance", "km")
    specimen_life_km: float | None = given("life at that specimen's wear", "km", default=None)


class LifeOf(Result):
    """Whose life `life_cycles` and `life_km` are."""

    batch: str | None = given("batch; null: all batches together", default=None)
    why: str = given("why")


class DutyProjection(Result):
    """One duty."""

    duty: str = given("duty")
    opening: float = given(
        "the duty's cooling opening (1 = its full h1; the rig's air as tested where its file gives none)", "1"
    )
    cycles: int | None = given("cycles in one use", default=None)
    temperature_low_c: float | None = given("lowest temperature of the settled cycle", "degC", default=None)
    temperature_high_c: float | None = given("highest temperature of the settled cycle", "degC", default=None)
    temperature_low_interval: Sourced | None = given("the lowest with its interval", "degC", default=None)
    temperature_high_interval: Sourced | None = given("the highest with its interval", "degC", default=None)
    settled_within_use: bool | None = given("whether a use is long enough to settle", default=None)
    cycles_until_warm: int | None = given("cycles until the disc is within 1 K of the settled cycle", default=None)
    highest_in_use_c: float | None = given("highest temperature while it warms up", "degC", default=None)
    window_share: float | None = given("share of the energy in the window", "1", default=None)
    window_share_interval: Span | None = given("its interval", "1", default=None)
    window_share_by_source: dict[str, float] | None = given(
        "share of that interval's variance by source", "1", default=None
    )
    window_share_why: str | None = given("why there is no share", default=None)
    window_of: DutyWindow | None = given("the window of the batches together; null: the compound's", default=None)
    glazing_share: float | None = given("share of the energy in glazing-prone conditions", "1", default=None)
    glazing_share_interval: Span | None = given("by the ends of the limit", "1", default=None)
    glazing_share_why: str | None = given("why there is no share", default=None)
    wear_um_per_cycle: dict[str, Projected] = given("wear by component, over a use", "um", default_factory=dict)
    wear_um_per_settled_cycle: dict[str, Projected] = given("wear of the settled cycle", "um", default_factory=dict)
    wear_shares: dict[str, dict[str, float]] = given(
        "share of each part in a component's wear, by the law of all batches together", "1", default_factory=dict
    )
    life_cycles: Projected = given("cycles from new thickness to the minimum, of `life_of`")
    life_km: Projected = given("the same as a distance", "km")
    life_limited_by: str | None = given("component that ends it, of `life_of`", default=None)
    life_by_component: dict[str, Projected] = given(
        "cycles of each component by the laws of all batches together", default_factory=dict
    )
    life_of: LifeOf | None = given("whose life it is; null with one batch", default=None)
    pooled_life_cycles: Projected | None = given("cycles by the laws of all batches together", default=None)
    pooled_life_km: Projected | None = given("the same as a distance", "km", default=None)
    by_batch: list[BatchLife] = given(
        "each batch; none where there is one batch; the worst batch's interval is that of `worst`", default_factory=list
    )
    worst: WorstLife | None = given("the batch of the shortest life; null with one batch", default=None)
    extrapolated: list[str] = given("where the duty leaves what the rig showed", default_factory=list)
    support: DutySupport | None = given("the same by direction and share, typed", default=None)
    why: str | None = given("why nothing can be said", default=None)
    glazing_loss: FilmLoss | None = given("share of mu lost by glazing over one use, at the opening", "1", default=None)
    glazing_loss_three_uses: FilmLoss | None = given("over three uses in a row", "1", default=None)
    glazing_loss_wanted: float | None = given("largest loss over one use that the target accepts", "1", default=None)
    opening_to_run: Span | None = given(
        "openings at which the window holds, no test shows a loss by glazing above the target, wear stays inside its data "
        "and the wanted life is reached",
        "1",
        default=None,
    )
    opening_to_run_why: str | None = given("why there is none", default=None)
    reserved: bool | None = given(
        "whether something in `not_excluded` stands against any of the openings to run; null without them", default=None
    )
    opening_to_run_sure: Span | None = given(
        "openings free of any reservation: by the window's inner ends, the upper bound of glazing and the lower end of life",
        "1",
        default=None,
    )
    opening_to_run_sure_why: str | None = given("why there are none", default=None)
    limits: list[OpeningLimit] = given("what ends the openings to run, the nearest first", default_factory=list)
    not_excluded: list[NotExcluded] = given("what the tests cannot exclude at them", default_factory=list)
    settling_test: SettlingTest | None = given("test that would settle whether the duty glazes", default=None)
    settling_test_why: str | None = given("why none is named", default=None)
    glazing_area: FilmArea | None = given("what is known of the film where the duty runs", default=None)
    opening_to_run_low: Sourced | None = given("its lower end with its interval", "1", default=None)
    opening_to_run_high: Sourced | None = given("its upper end with its interval", "1", default=None)
    inputs: list[HeatInput] = given("heat inputs that the figures rest on", default_factory=list)
    energy_kj: list[float] = given("friction work of each braking of a cycle", "kJ", default_factory=list)
    cooling: DutyCooling | None = given("the disc's cooling", default=None)
    burnt: Burnt | None = given("what oxidation takes of the disc over its life", default=None)
    worn_disc: WornDisc | None = given("the same with a worn disc; null without its figures", default=None)
    sweep: list[SweepRow] = given("by cooling opening", default_factory=list)
    history: CycleHistory | None = given("the settled cycle in time", default=None)
    log: DutyLog | None = given("the log that the duty was cut from; null where its file gives events", default=None)
    cooling_log: DrivenLog | None = given("what a log of a drive tells of its cooling; null without one", default=None)
    line_pressure_bar: list[LinePressure] = given("line pressure of each braking", "bar", default_factory=list)
    line_pressure_why: str | None = given("why there is none", default=None)
    line_pressure_of: str | None = given(
        "why it is one batch's, or why no batch's is known; null where none is asked for", default=None
    )
    soak: Soak | None = given("after the last braking, standing", default=None)

    @property
    def opening_words(self) -> str:
        """The openings to run in words: not known where friction of the duty's stops was not tested at them."""
        if self.opening_to_run is None:
            return "none"
        span = f"{self.opening_to_run.low:.2f} to {self.opening_to_run.high:.2f}"
        if not self.opening_untested:
            return span
        return f"not known: friction of such stops was not tested (by the window of harder stops it would be {span})"

    @property
    def opening_untested(self) -> bool:
        """Whether less than half of the energy in the window brakes at tested conditions even at the best of the openings to run: they
        are then those of the window of other stops."""
        return (
            self.opening_to_run is not None
            and self.support is not None
            and self.support.opening_basis == "mostly extrapolated"
        )


class RigCooling(Result):
    """How the rig's air cools the disc, from the pauses between stops."""

    g: float = given("convection of the whole disc", "W/K")
    low: float = given("lower end of its 95 % interval", "W/K")
    high: float = given("upper end of its 95 % interval", "W/K")
    g_u: float = given("its standard uncertainty, that of the air's temperature included", "W/K")
    radiating: float = given("emissivity times radiating area", "m2")
    radiating_fitted: bool = given("whether the pauses told it")
    pauses: int = given("pauses used")
    left_out: int = given("pauses that do not cool like the others")
    ambient: float = given("median ambient of the pauses", "K")
    ambient_recorded: bool = given("whether it was recorded", default=False)


class DutyDisc(Result):
    """The disc of the projection."""

    mass_kg: float = given("mass", "kg")
    radiating_m2: float = given("emissivity times radiating area", "m2")
    radiating_source: str = given("where it comes from: the card, cool-downs on the rig, or assumed")
    from_test: str = given("test whose card states the disc")
    heat_share: float = given("share of the friction heat that goes into the disc", "1")


class Projections(Result):
    """The projections of a compound's duties, without the file's heading."""

    duties: list[DutyProjection] = given("duties", default_factory=list)
    common_opening: Span | None = given("openings that serve all duties", "1", default=None)
    common_opening_why: str | None = given("why there is none", default=None)
    both_duties: BothDuties | None = given(
        "one answer over gentle and hard use, and what would make it a yes", default=None
    )
    rig_cooling: RigCooling | str | None = given("the rig's cooling, or why it is not known", default=None)
    disc: DutyDisc | None = given("the disc", default=None)
    notes: list[str] = given("what the projections rest on", default_factory=list)


class CompoundDuty(Projections, OfCompound):
    """duty.json."""

    duties_left_out: dict[str, str] = given("duty files that could not be read, and why", default_factory=dict)
    tests_left_out: dict[str, str] = given("tests that could not be used, and why", default_factory=dict)
    card_differences: list[CardDifference] = given("where the tests' cards differ", default_factory=list)
    stamp: Stamp | None = given("what the file rests on", default=None)
