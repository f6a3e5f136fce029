"""repeatability.json: scatter of matched stops pooled over a compound's tests; shares of mu."""

from __future__ import annotations

from pipeline.results.model import Result, Stamp, given


class Pooled(Result):
    """The pooled figures: repeatability.json less its heading."""

    sigma: float | None = given("standard deviation of a stop; null without blocks to pool", "1", default=None)
    autocorrelation: float | None = given("correlation of neighbouring stops", default=None)
    autocorrelation_u: float | None = given("its standard uncertainty", default=None)
    block_sigma: float | None = given("standard deviation of a shift common to a block", "1", default=None)
    use_factor: float | None = given("scatter of stops of use over that of checks", default=None)
    dof: int = given("degrees of freedom behind sigma", default=0)
    stops: int = given("matched stops of checks", default=0)
    tests: int = given("tests behind the figures (without figures: tests looked at)", default=0)
    why: str | None = given("why there are no figures, or a reservation", default=None)


class Repeatability(Pooled):
    """repeatability.json of a compound."""

    compound: str = given("compound, as the cards name it")
    method: str | None = given("method's id", default=None)
    unusable: str | None = given("why there are no figures", default=None)
    stamp: Stamp | None = given("what the file rests on", default=None)
