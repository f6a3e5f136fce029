"""What a drive of the vehicle, logged with its disc temperature, says of a duty's cooling."""

from __future__ import annotations

from pipeline.results.model import Interval, Result, given


class DrivenLog(Result):
    """The cooling at which the duty's model reaches the disc temperatures that a drive logged before its brakings."""

    file: str = given("the log")
    opening: float = given("cooling opening at which it was driven", "1")
    told_by: str = given("what tells braking: line pressure, recorded deceleration or slope of the speed")
    brakings: int = given("brakings cut from it")
    uses: int = given("uses in it, each begun after a rest", default=0)
    points: int = given("brakings before which the disc temperature is known", default=0)
    factor: Interval = given("convection over what the duty states of it", "1", default_factory=Interval)
    u: float | None = given("standard uncertainty of its logarithm, at the duty's heat share", "1", default=None)
    u_scatter: float | None = given("of it, what scatters in the log and from drive to drive", "1", default=None)
    u_thermometers: float | None = given(
        "of it, what the bias of disc thermocouple and air temperature makes", "1", default=None
    )
    by_heat_share: float | None = given(
        "how the factor's logarithm moves with that of the heat share: the levels tell their ratio", "1", default=None
    )
    rms_k: float | None = given("root mean square of model less log, at the factor", "K", default=None)
    excess_k: float | None = given("mean of the temperatures before brakings, above the air", "K", default=None)
    used: bool = given("whether the projection takes it", default=False)
    why: str | None = given("why it is not told, or not taken", default=None)
    notes: list[str] = given("what to know of the log", default_factory=list)
