"""Parts of friction.json that are read from the stops themselves, without a map: the table of blocks that procedures print,
values along lines of pressure and speed, green friction.

A mean's interval holds the scatter of single stops and what calibration, radius and area make common to all of them; the
two parts stand beside it, since the common one cancels wherever means of one test are compared.
"""

from __future__ import annotations

from typing import Literal

from pipeline.results.model import Interval, Result, given


class MeanOfStops(Interval):
    """Mean mu of some stops with its interval."""

    u_stops: float | None = given("standard uncertainty from the scatter of single stops", default=None)
    u_common: float | None = given(
        "standard uncertainty common to all stops of the test; null: not stated", default=None
    )


class Spread(Result):
    """Mean and extremes over the stops used; null where the column is."""

    mean: float | None = given("mean", default=None)
    least: float | None = given("least", default=None)
    most: float | None = given("most", default=None)


class Deceleration(Spread):
    """Mean fully developed deceleration of a block's stops."""

    stops: int = given("stops that have one", default=0)
    why: str | None = given("why there is none", default=None)


class Block(Result):
    """One block as procedures print it. Figures are of the stops used: the ok ones, and the suspect where the method lets them
    in."""

    block: str = given("block")
    purpose: str | None = given("its purpose", default=None)
    kind: str | None = given("stop, snub or drag", default=None)
    batch: str | None = given("batch, in a compound's file", default=None)
    tests: int | None = given("tests behind the row, in a compound's file", default=None)
    specimens: int | None = given("specimens behind the row, in a compound's file", default=None)
    from_stop: int | None = given("its first stop, in a test's file", default=None)
    to_stop: int | None = given("its last stop, in a test's file", default=None)
    stops: int = given("stops")
    ok: int = given("of them ok")
    used: int = given("of them behind the figures")
    conditions: int = given("sets of conditions that its stops were run at, of a map or check block", default=1)
    mu: MeanOfStops = given("mean of nominal mu, its interval at the confidence of the method")
    mu_least: float | None = given("least mu of a stop", default=None)
    mu_most: float | None = given("largest mu of a stop", default=None)
    sd: float | None = given("standard deviation of single stops about the mean", default=None)
    sd_why: str | None = given("why it is null", default=None)
    deceleration_mps2: Deceleration = given("mean fully developed deceleration", "m/s2")
    duration_s: Spread = given("stop time, from the on-threshold to the end of braking", "s")
    temperature_initial_c: Spread = given("disc at brake start", "degC")
    temperature_peak_c: Spread = given("disc, highest of each stop", "degC")
    temperature_end_c: Spread = given("disc at brake end", "degC")
    pressure_bar: Spread = given("line pressure over the evaluation window", "bar")
    speed_start_rpm: Spread = given("shaft speed at the start", "rpm")
    speed_end_rpm: Spread = given("shaft speed at the end", "rpm")
    energy_kj: Spread = given("friction work of a stop", "kJ")
    energy_density_j_mm2: Spread = given("friction work over the pads' friction area", "J/mm2")
    energy_all_kj: float | None = given("friction work of all its stops, those not used included", "kJ", default=None)


class Level(Result):
    """mu at one pressure or speed of a line."""

    pressure_bar: float | None = given("mean line pressure", "bar", default=None)
    speed_rpm: float | None = given("mean shaft speed at the start", "rpm", default=None)
    temperature_c: float | None = given("mean of the method's temperature", "degC", default=None)
    energy_density_j_mm2: float | None = given("mean energy density", "J/mm2", default=None)
    blocks: list[str] = given("blocks of the stops")
    stops: int = given("stops used")
    mu: MeanOfStops = given("mean of nominal mu")


class Line(Result):
    """Stops that differ in pressure alone, or in speed alone, from the least to the most of it."""

    along: Literal["pressure", "speed"] = given("what differs")
    batch: str | None = given("batch, in a compound's file", default=None)
    specimens: int | None = given("specimens behind it, in a compound's file", default=None)
    energy_moves: bool = given("whether the energy density differs along with it")
    levels: list[Level] = given("from the least to the most")
    by_temperature: float | None = given(
        "what mu changes by over the levels' unlike temperatures, as the curve has it: so much of a difference along "
        "the line may be the temperature's",
        default=None,
    )


class Green(Interval):
    """mu before the face was bedded."""

    stops: int = given("stops it rests on", default=0)
    source: str | None = given("which stops these are", default=None)
    u_stops: float | None = given("standard uncertainty from the scatter of single stops", default=None)
    u_common: float | None = given("standard uncertainty common to all stops of the test", default=None)


class StopScatter(Result):
    """Scatter that the intervals rest on."""

    sd: float | None = given(
        "usual standard deviation of single stops of a map or check block, relative", "1", default=None
    )
    dof: float | None = given("degrees of freedom that it adds to a block's own", default=None)
    sd_why: str | None = given("why it is not known", default=None)
    between_blocks_sd: float | None = given(
        "standard deviation between blocks at one set of conditions beside it, relative", "1", default=None
    )
    between_blocks_why: str | None = given(
        "why it is not known; it is then not in the intervals of lines", default=None
    )
