"""wear.json of a test and of a compound: losses between readings, wear laws, rates, and what a duty may be projected
by.

Loss is of thickness, of both faces of a disc together and of a pad's one. Energy is the whole brake's friction work.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pipeline.results.cards import CardDifference
from pipeline.results.model import Interval, OfCompound, OfTest, Result, Stamp, given
from pipeline.results.sources import HeatInput, Sourced

LawName = Literal["energy", "distance", "power", "oxidation", "two_regime"]
Part = Literal["mechanical", "oxidative", "cold", "hot"]  # of a loss, one for each rate of its law


class WearInterval(Result):
    """Loss of a component between two readings."""

    test: str | None = given("test, in a compound's file", default=None)
    from_stop: int = given("stop after which the first reading was taken")
    to_stop: int = given("stop after which the second was")
    wear_um: float = given("loss of thickness", "um")
    wear_u_um: float = given("its standard uncertainty", "um")
    wear_g: float | None = given("loss of mass", "g", default=None)
    wear_u_g: float | None = given("its standard uncertainty", "g", default=None)
    mass_state: str | None = given("state of the parts when weighed: dry or as_found", default=None)
    stops: int | None = given("stops run in between", default=None)
    energy_mj: float | None = given("friction work in between", "MJ", default=None)
    blocks: list[str] | None = given("blocks run in between", default=None)
    dwell_h: float | None = given("soak without a stop in between", "h", default=None)
    dwell_c: float | None = given("its mean temperature", "degC", default=None)
    in_models: bool = given("whether laws are fitted to it")
    measured_by: str | None = Field(None, alias="from", description="what the loss was read from: thickness or mass")
    points_um: dict[str, float] | None = given("loss at each point, by point", default=None)
    taper_um: float | None = given("largest less smallest loss of the points", "um", default=None)
    predicted_um: float | None = given("loss by the chosen law", "um", default=None)
    predicted_low_um: float | None = given("lower end of its interval", "um", default=None)
    predicted_high_um: float | None = given("upper end of its interval", "um", default=None)


class ReadingNoise(Result):
    """Noise of the readings."""

    source: str = given("where it was found")
    dof: float | None = given("degrees of freedom it is known with; null for unlimited", default=None)


class Parameter(Sourced):
    """A parameter of a law; null where the readings do not pin it. The interval holds the heat inputs' uncertainties."""

    unit: str = given("its unit")


class Fixed(Result):
    """What a law holds fixed."""

    th0_k: float | None = given("temperature at which B is stated", "K", default=None)
    p0_w_mm2: float | None = given("power density P0", "W/mm2", default=None)
    um_per_k_n_m: float | None = given("loss per unit of k F s", default=None)


class Conditions(Result):
    """What the stops behind a law span, each [lowest, highest]."""

    energy_mj: list[float] | None = given("energy of a stop", "MJ", default=None)
    power_w_mm2: list[float] | None = given("mean power density of a stop", "W/mm2", default=None)
    temperature_c: list[float] | None = given("the method's temperature of a stop", "degC", default=None)
    surface_c: list[float] | None = given("temperature of the surface", "degC", default=None)
    oxidation_c: list[float] | None = given(
        "surface temperatures of the last 99 % of the fitted oxidation: where the law's oxidation was seen",
        "degC",
        default=None,
    )
    run: list[list[float]] = given(
        "conditions run, alike ones (15 %, 20 K) once: energy of a stop (MJ), power density (W/mm2), the method's temperature (degC)",
        default_factory=list,
    )


class Predictor(Result):
    """What the wear of stops can be predicted by."""

    model: LawName = given("law")
    parameters: dict[str, Parameter] = given("its parameters by name")
    fixed: Fixed | None = given("what it holds fixed", default=None)
    joint: dict[str, list[float]] | None = given("draws of the parameters, of equal weight", default=None)
    inputs: list[HeatInput] = given(
        "heat inputs that it rests on; empty where its law knows no temperature", default_factory=list
    )
    further_use: list[float] | None = given("draws of the factor by which a further use departs", default=None)
    span: Conditions | None = Field(None, alias="range", description="what the stops behind it span")
    why: str | None = given("what is missing, or what to mind", default=None)
    ground: str | None = given("what a measured rate rests on", default=None)


class FittedLaw(Predictor):
    """One of the laws, fitted. Of laws that are not chosen draws and span are null."""

    chi2_per_dof: float | None = given("chi2 per degree of freedom by the readings' noise", default=None)
    misfit_p: float | None = given("p of residuals as large by that noise", default=None)
    roughness: float | None = given("share of an interval's loss by which it is wrong", default=None)
    occasion_um: float | None = given("scatter common to the readings of an occasion", "um", default=None)
    converged: bool | None = given("whether the fit came to its end", default=None)
    aicc: float | None = given("AICc", default=None)
    loo_rmse_um: float | None = given("prediction error of intervals left out", "um", default=None)
    identified: bool = given("whether the readings identify it")
    effective: bool = given("whether it holds for duties like the rig's only")


class MeasuredRate(Predictor):
    """Loss per friction work over some intervals, where no law is identified."""

    over: str = given("blocks, or all intervals after bedding")
    intervals: int = given("intervals behind it")
    tests: list[str] = given("their tests")
    differing: float = given("share by which the intervals' own rates differ beyond the readings' noise")


class RateStops(Result):
    """The stops that the rates are over."""

    from_stop: int = given("reading before them")
    to_stop: int = given("reading after them")
    count: int = given("how many")
    energy_mj: float = given("their friction work", "MJ")


class Rates(Result):
    """Wear rates from the readings themselves, after bedding."""

    um_per_stop: Interval | None = given("loss per stop", "um", default=None)
    um_per_stop_per_face: Interval | None = given("loss per stop and face", "um", default=None)
    mm3_per_mj: Interval | None = given("worn volume over friction work", "mm3/MJ", default=None)
    mm3_per_n_m: Interval | None = given(
        "worn volume of a face over its force times distance", "mm3/(N m)", default=None
    )
    mg_per_stop: Interval | None = given("mass worn off per stop", "mg", default=None)
    stops: RateStops | None = given("the stops behind it", default=None)
    tests: int | None = given("tests behind it, in a compound's file", default=None)
    why: str | None = given("why a rate is null, or what to mind", default=None)


class BlockWear(Result):
    """Loss of a block's stops by the chosen law, as a further use of it."""

    block: str = given("block")
    purpose: str | None = given("its purpose", default=None)
    stops: int = given("its stops")
    energy_mj: float = given("their friction work", "MJ")
    um_per_stop: Interval = given("loss per stop", "um")
    um_per_stop_per_face: Interval = given("loss per stop and face", "um")
    um_per_100_stops: Interval = given("loss per 100 stops", "um")


class Share(Result):
    """A block's loss by mechanism."""

    block: str = given("block")
    wear_um: dict[str, float] = given("loss by mechanism", "um")


class MapAndDuty(Result):
    """Loss over map and duty blocks: what a target's limit is about."""

    um_per_stop_per_face: Interval = given("loss per stop and face", "um")
    stops: int = given("their stops")


class LawPoint(Interval):
    """A point of the chosen law's curve."""

    temperature_c: float = given("temperature", "degC")


class LawCurve(Result):
    """The chosen law over temperature, where it looks at one."""

    unit: str | None = given("what its values are", default=None)
    points: list[LawPoint] = given("points over the data's range", default_factory=list)


class ComponentWear(Result):
    """What a test's and a compound's component share."""

    intervals: list[WearInterval] = given("losses between readings", default_factory=list)
    models: list[FittedLaw] = given("every law", default_factory=list)
    chosen: LawName | None = given("the chosen law", default=None)
    chosen_why: str | None = given("why it was chosen, or why none was", default=None)
    rates: Rates | None = given("rates from the readings", default=None)
    measured: list[MeasuredRate] = given("measured rates, where no law is identified", default_factory=list)
    measured_why: str | None = given("why there are none", default=None)
    map_and_duty: MapAndDuty | None = given("loss over map and duty blocks", default=None)
    law: LawCurve = given("curve of the chosen law", default_factory=LawCurve)
    temperature_range_c: list[float] | None = given("temperatures the chosen law is supported at", "degC", default=None)
    mass_to_thickness: Interval | None = given("mass lost over what the thickness tells", "1", default=None)
    faces: int | None = given("faces of the part", default=None)
    area_mm2: float | None = given("friction area", "mm2", default=None)
    usable_um: float | None = given("loss from new to minimum thickness", "um", default=None)
    why: str | None = given("why there is nothing", default=None)

    @property
    def chosen_law(self) -> FittedLaw | None:
        """The entry of `models` that was chosen."""
        return next((law for law in self.models if law.model == self.chosen), None)

    @property
    def identified_law(self) -> FittedLaw | None:
        """The chosen law, where the readings identify it."""
        law = self.chosen_law
        return law if law is not None and law.identified else None


class TestComponent(ComponentWear):
    """A component of one test."""

    __test__ = False  # not a test class, whatever its name says to a test collector

    noise: ReadingNoise | None = given("noise of the readings", default=None)
    blocks: list[BlockWear] = given("loss of each block by the chosen law", default_factory=list)
    shares: list[Share] = given("loss of each block by mechanism", default_factory=list)
    mass_to_thickness_why: str | None = given("why there is no ratio, or what to mind", default=None)


class WearSpecimen(Result):
    """How a specimen wears beside the compound's law."""

    test: str = given("its test")
    batch: str = given("batch")
    specimen: str = given("specimen")
    factor: Interval = given("its loss over the law's", "1")


class SpecimenScatter(Result):
    """Scatter of wear between specimens."""

    share: float = given("standard deviation as a share of wear", "1")
    specimens: int = given("specimens behind it")
    expected: float = given("what the method expects", "1")
    from_expected: float | None = given("share of its variance that is expectation", "1", default=None)
    half_width: float = given("half-width that it gives the interval of a mean", "1")


class PartFactor(Interval):
    """A part of a loss over that of the compound's law."""

    u: float | None = given("its standard uncertainty", "1", default=None)


class SpecimenParts(Result):
    """How a specimen wears beside the compound's law, part by part, by its own readings alone."""

    batch: str = given("batch")
    specimen: str = given("specimen")
    tests: list[str] = given("its tests")
    factors: dict[Part, PartFactor] = given("each part over the law's; a u near 1: its readings do not tell it", "1")
    correlation: float | None = given("of the errors of the two factors; null with one part", "1", default=None)


class PartScatter(Result):
    """Scatter between specimens of a batch by part, drawn towards what the method expects."""

    shares: dict[Part, float] = given("standard deviation as a share of the part", "1")
    correlation: float | None = given("between the parts; null with one part", "1", default=None)
    dof: float = given("degrees of freedom that it is known with", "1")


class BatchWear(Result):
    """A component over the specimens of one batch: the law's shape is the compound's, its rates are the batch's."""

    batch: str = given("batch")
    specimens: int = given("its specimens")
    tests: list[str] = given("its tests")
    law: FittedLaw | None = given("its law; null where the compound has none that is identified", default=None)
    factors: dict[Part, Interval] = given("its rates over the compound's law's, by part", "1", default_factory=dict)
    parted: bool | None = given("whether its own readings tell the parts apart; null with one part", default=None)
    parted_why: str | None = given("why they do not, and what follows", default=None)
    measured: list[MeasuredRate] = given("measured rates, where no law is identified", default_factory=list)
    measured_why: str | None = given("why there are none", default=None)
    map_and_duty: MapAndDuty | None = given(
        "loss over the map and duty blocks of all tests of the compound, by its law", default=None
    )


class WorstWear(Result):
    """The batch that wears most over the map and duty blocks of all tests, and its specimen that does."""

    batch: str = given("batch")
    specimen: str | None = given("specimen", default=None)
    specimen_factor: float | None = given(
        "its loss over its batch's, drawn to the batch by its noise", "1", default=None
    )
    um_per_stop_per_face: Interval = given("the batch's loss per stop and face", "um")


class CompoundComponent(ComponentWear):
    """A component over all tests of a compound."""

    by_batch: list[BatchWear] = given("each batch; none where there is one batch", default_factory=list)
    worst: WorstWear | None = given("the batch that wears most; null with one batch", default=None)
    part_shares: dict[Part, float] = given(
        "share of each part in the loss of all tests' stops, by the chosen law", "1", default_factory=dict
    )
    by_specimen: list[SpecimenParts] = given("each specimen's parts beside the law", default_factory=list)
    part_scatter: PartScatter | None = given("scatter between specimens of a batch, by part", default=None)
    specimens: list[WearSpecimen] = given("each specimen beside the law", default_factory=list)
    specimen_scatter: SpecimenScatter | None = given("scatter between specimens", default=None)
    tests: list[str] = given("tests behind it", default_factory=list)
    tests_left_out: dict[str, str] = given("tests that take no part, and why", default_factory=dict)


class TestWear(OfTest):
    """wear.json of a test."""

    __test__ = False  # not a test class, whatever its name says to a test collector

    components: dict[str, TestComponent] | None = given("every part that was read", default=None)
    notes: list[str] = given("what the laws rest on", default_factory=list)
    why: str | None = given("why there are no components", default=None)
    stamp: Stamp | None = given("what the file rests on", default=None)


class CompoundWear(OfCompound):
    """wear.json of a compound."""

    tests_left_out: dict[str, str] = given("tests that could not be used, and why", default_factory=dict)
    card_differences: list[CardDifference] = given("where the tests' cards differ", default_factory=list)
    components: dict[str, CompoundComponent] | None = given("every part that was read", default=None)
    notes: list[str] = given("what the figures rest on", default_factory=list)
    wear_left_out: dict[str, str] = given("tests whose readings take no part, and why", default_factory=dict)
    why: str | None = given("why there are no components", default=None)
    stamp: Stamp | None = given("what the file rests on", default=None)
