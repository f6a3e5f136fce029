"""`face_law` of a compound's friction.json: friction as a law of the rubbing face, held against the map.

The model's own numbers are in SI, so that a prediction needs nothing but this part of the file.
"""

from __future__ import annotations

from typing import Literal

from pipeline.results.model import Interval, Result, given

Choice = Literal["law", "map"]


class HeatInput(Result):
    """A number that conduction into the disc rests on, before and after the stops were looked at."""

    name: str = given(
        "conductivity in W/(m K), share of the friction heat into the disc, or heat lost: convection of a face while it brakes, W/(m2 K)"
    )
    source: Literal["card", "method", "default", "readings"] = given(
        "where the value before comes from; readings: the thermocouple's course within the stops"
    )
    before: float = given("value before")
    before_u: float = given("its relative standard uncertainty", "1")
    value: float = given("value that the stops' friction asks for, held by the one before")
    u: float = given("its relative standard uncertainty", "1")


class Thermocouple(Result):
    """What the course of a test's thermocouple within the stops says of it, and of the heat lost while braking."""

    test: str = given("test")
    why: str | None = given("why it says nothing", default=None)
    stops: int = given("stops looked at", default=0)
    depth_mm: Interval = given("depth below the rubbing face at which it reads", "mm")
    lag_s: Interval = given("time constant with which it follows", "s")
    convection: Interval = given("of a face while it brakes, beside the card's radiation", "W/(m2 K)")
    lost_share: float | None = given("median share of a stop's heat that leaves meanwhile", "1", default=None)
    rise_k: float | None = given("root mean square of the rise that it shows", "K", default=None)
    rms_k: float | None = given("of what readings of stops left out are missed by", "K", default=None)
    rms_without_loss_k: float | None = given("the same, no heat lost", "K", default=None)
    rms_at_once_k: float | None = given("the same, if it showed the disc's mean at once", "K", default=None)


class LeftOutErrors(Result):
    """Law and map at what they were not shown: root mean square errors in mu."""

    what: str = given("cells, blocks, or fade stops")
    count: int = given("cells, blocks or stops compared")
    law: float | None = given("rms error of the law, of a cell's mean", default=None)
    map: float | None = given("rms error of the map, alike", default=None)
    shape_law: float | None = given("rms error of the law in the in-stop shape", default=None)
    shape_map: float | None = given("the same of a map, to which mu is even over a stop", default=None)
    why: str | None = given("why a figure is null", default=None)


class FaceChoice(Result):
    """Which of the two windows and duties use, by a stated rule."""

    used: Choice = given("law or map")
    rule: str = given("the rule in words")
    margin: float = given("share of the map's left-out rms by which the law's must be smaller", "1")
    p_value: float | None = given("of the one-sided paired test over cells that the map is no worse", "1", default=None)
    least_p: float = given("p-value below which the law is used", "1")
    why: str = given("the choice in words, with its figures")


class FaceSingle(Result):
    """Where a single stop of a further specimen lies, of batches like those tested: `coverage` of stops at `confidence`."""

    mu: Interval = given("mean over the stop, by the method's average")
    torque_nm: Interval = given("mean over the distance", "N m")
    time_s: Interval = given("from brake start to the end", "s")
    distance_m: Interval = given("way of the vehicle; null without a rolling radius", "m")
    deceleration_mps2: Interval = given("mean over the distance; null without a rolling radius", "m/s2")
    pressure_bar: Interval | None = given(
        "pressure that a single stop needs for what is wanted; null where the pressure was given", "bar", default=None
    )


class FaceBatchStop(Result):
    """The stop of one of the batches tested: the mean over its stops and specimens, with its interval."""

    batch: str = given("name")
    mu: Interval = given("mean over the stop, by the method's average")
    torque_nm: Interval = given("mean over the distance", "N m")
    time_s: Interval = given("from brake start to the end", "s")
    distance_m: Interval = given("way of the vehicle; null without a rolling radius", "m")
    deceleration_mps2: Interval = given("mean over the distance; null without a rolling radius", "m/s2")


class FaceStop(Result):
    """A whole stop at one condition by the law; intervals hold the mean over stops, specimens and batches, heat inputs and
    calibration included. `single` and `batches` say how single stops and batches lie about it."""

    name: str = given("coldest stop tested, dry; normal; hot; or what was asked for")
    temperature_c: float = given("initial temperature of the disc", "degC")
    speed_start_rpm: float = given("shaft speed at the start", "rpm")
    speed_end_rpm: float = given("shaft speed at the end", "rpm")
    wanted: str | None = given("what the pressure was sought for; null where the pressure was given", default=None)
    sought: Literal["torque", "deceleration"] | None = given(
        "which of the quantities was wanted; its interval is what the stated pressure gives", default=None
    )
    pressure_bar: Interval = given("line pressure; where it was sought, its interval is of what the mean needs", "bar")
    mu: Interval = given("mean over the stop, by the method's average")
    mu_single: Interval = given("where a single stop's mean lies, at the file's coverage")
    mu_start: Interval = given("first tenth of the time")
    mu_end: Interval = given("last tenth")
    torque_nm: Interval = given("mean over all of the distance, the build-up of pressure included", "N m")
    time_s: Interval = given("from brake start to the end, the rig's build-up of pressure included", "s")
    distance_m: Interval = given("way of the vehicle from brake start to the end; null without a rolling radius", "m")
    deceleration_mps2: Interval = given(
        "mean over all of the distance: (v1^2 - v2^2) / (2 distance); null without a rolling radius", "m/s2"
    )
    face_peak_c: Interval = given(
        "hottest face in the stop by the model of conduction, its interval by what was known of the heat inputs before",
        "degC",
    )
    map_mu: float | None = given("the map's mu at the same conditions, where it was asked", default=None)
    single: FaceSingle | None = given("a single stop of a further specimen", default=None)
    batches: list[FaceBatchStop] = given("each batch tested, where batches were fitted", default_factory=list)
    why: str | None = given("why nothing is given: where the stop would leave the data, and how far", default=None)


class FacePoint(Result):
    """The law's mu of a whole stop beside the map's, at one initial temperature and the other reference conditions."""

    temperature_c: float = given("initial temperature", "degC")
    mu: float = given("mean")
    low: float = given("lower end of the mean's confidence band")
    high: float = given("upper end")
    tolerance_low: float = given("lower end of the tolerance band")
    tolerance_high: float = given("upper end")
    map_mu: float | None = given("the map's mean", default=None)
    apart: bool = given("whether the difference of the two means is beyond its own 95 % interval")


class Hull(Result):
    """Where the law may be asked: convex hull of the stops' samples in face temperature, ln pressure and ln speed."""

    low: list[float] = given("least of the three (K, ln Pa, ln rad/s)")
    high: list[float] = given("greatest of the three")
    axes: list[int] = given("which of the three were varied")
    planes: list[list[float]] = given("normal and offset of each face of the hull, axes scaled by their ranges")


class FaceBrake(Result):
    """The brake and disc that the law was measured on, SI."""

    ring_area: float = given("swept ring of one face", "m2")
    half_thickness: float = given("half the disc's thickness", "m")
    density: float = given("of the disc", "kg/m3")
    heat_capacity: str | float = given("carbon, or a value in J/(kg K)")
    push: float = given("clamp force per pressure above the threshold", "m2")
    threshold: float = given("pressure at which the pads begin to press", "Pa")
    radius: float = given("effective radius", "m")
    inertia: float = given("at the shaft", "kg m2")
    rolling_radius: float | None = given("of the wheel", "m", default=None)
    pad_friction_area: float = given("of all pads", "m2")
    radiation: float = given("of a face while it brakes, over its ring", "W/(m2 K4)", default=0.0)
    ambient_k: float | None = given(
        "air that a face loses heat to while it brakes; null: no loss is shown", "K", default=None
    )


class FaceBatch(Result):
    """A batch tested about the mean of the batches."""

    name: str = given("as the cards call it")
    level: float = given("its level over the batches' mean, of ln mu at one face temperature", "1")
    u: float = given("standard uncertainty", "1")


class FaceModel(Result):
    """All that a prediction needs."""

    low_k: float = given("least face temperature of the spline", "K")
    high_k: float = given("greatest", "K")
    knots: int = given("knot intervals of the cubic spline")
    pressure_pa: float = given("pressure p0 to which effects refer", "Pa")
    speed_rad_s: float = given("speed w0 to which effects refer", "rad/s")
    coefficients: list[float] = given(
        "spline, ln p/p0, ln w/w0, their changes along the temperature, ln k/k0, ln of flux over stated, ln h/h0"
    )
    covariance: list[list[float]] = given("of the coefficients")
    conductivity: float = given("k0", "W/(m K)")
    heat_share: float = given("stated share of the heat into the disc", "1")
    convection: float = given("h0, of a face while it brakes", "W/(m2 K)", default=0.0)
    heat_u: list[float] = given(
        "relative standard uncertainty of k0, of the flux and of h0 before the stops were looked at", "1"
    )
    cell_sd: float = given("what the law gets wrong at a condition, relative", "1")
    average: Literal["distance", "time", "energy"] = given("what mu's mean over a stop is weighted by")
    window_from: float = given("share of the pressure from which means are taken", "1")
    cell_kelvin: float = given("and along the temperature", "K")
    build_up_s: float = given("length of an even build-up of the pressure that costs a stop what the rig's does", "s")
    noise: float = given("scatter of a stop's eighths, relative", "1")
    wander: float = given("scatter that wanders along a stop, relative", "1")
    wander_range: float = given("how far it is alike, in eighths of a stop")
    level: float = given("scatter of a stop's level, relative", "1")
    kelvin: float = given("scatter of a stop's temperature", "K")
    specimen_sd: float = given("scatter between specimens, relative; 0 for one", "1")
    batch_sd: float = given("scatter of the batches tested about their mean, relative", "1")
    batches: list[FaceBatch] = given("the batches, where they can be told from specimens", default_factory=list)
    specimen_shift: float = given("scatter of specimens along the temperature", "K")
    stops: int = given("stops fitted")
    common: float = given("relative standard uncertainty of calibration", "1")
    confidence: float = given("of the intervals", "1")
    coverage: float = given("share of single stops in their interval", "1")
    hull: Hull = given("support")
    brake: FaceBrake = given("brake and disc")

    @property
    def single_stops(self) -> str:
        """Of what the interval of single stops is."""
        if self.specimen_sd == 0:
            return "single stops of the specimen tested (what another does is not known)"
        return "single stops of further specimens, of batches like those tested,"


class FaceLaw(Result):
    """The law at the face of a compound, or why there is none."""

    why: str | None = given("why there is no law", default=None)
    stops_used: int = given("stops fitted", default=0)
    stops_without_trace: int = given("stops of the map that have no usable trace", default=0)
    heat: list[HeatInput] = given("conductivity and heat share", default_factory=list)
    thermocouples: list[Thermocouple] = given("what the thermocouples' courses say, a row a test", default_factory=list)
    left_out: list[LeftOutErrors] = given("law and map at what was left out", default_factory=list)
    choice: FaceChoice | None = given("which of the two is used, and why", default=None)
    stops: list[FaceStop] = given("coldest stop tested (dry), normal and hot", default_factory=list)
    curve: list[FacePoint] = given(
        "mu over the initial temperature at the reference conditions, beside the map", default_factory=list
    )
    after_pause: str | None = given(
        "what the tests know of a first stop after a pause at the temperature of the coldest stop", default=None
    )
    disagreements: list[str] = given(
        "where law and map lie apart beyond what both are uncertain by", default_factory=list
    )
    notes: list[str] = given("reservations", default_factory=list)
    model: FaceModel | None = given("the law itself", default=None)
