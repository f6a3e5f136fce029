"""Where an answer's uncertainty comes from: the heat and material inputs behind it, and each source's share of its variance."""

from __future__ import annotations

from typing import Literal

from pipeline.results.model import Interval, Result, given

InputName = Literal["heat share", "conductivity", "thermocouple", "cooling"]


class HeatInput(Result):
    """A heat or material input that a law or a projection rests on, and how well it is known."""

    name: InputName = given("heat share, conductivity, thermocouple (its bias, in kelvin) or cooling (as a factor)")
    value: float | None = given("its value; null where tests differ, or where it is a bias or a factor", default=None)
    u: float = given("standard uncertainty: of the logarithm; of a thermocouple in K")
    source: str = given("where value and uncertainty come from")
    shift: float = given(
        "best estimate with the wear readings, from the value, in standard uncertainties: the law's figures are at it",
        default=0.0,
    )
    found: float | None = given("the value so estimated, in the value's unit; of a thermocouple K", default=None)
    draws: list[float] | None = given(
        "draws of it in standard uncertainties from the value, in step with the law's joint draws", default=None
    )


class Sourced(Interval):
    """A figure whose interval says what it is made of."""

    by_source: dict[str, float] | None = given(
        "share of the interval's variance by source, largest first", default=None
    )
    dominated_by: str | None = given("the largest source, and what would narrow it", default=None)
