"""What a compound's tests show of the film that gentle, cold use lays on its faces (glazing)."""

from __future__ import annotations

from typing import Literal

from pipeline.results.model import Interval, Result, given

Shown = Literal["glazed", "harmless", "nothing shown"]


class FilmUse(Result):
    """Alike use between checks, of one test or several taken together."""

    tests: list[str] = given("tests")
    stretches: int = given("stretches of use between blocks of checks")
    stops: int = given("stops of use in them")
    temperature_c: Interval = given("initial temperature: median, 5 and 95 % quantile", "degC")
    power_density_w_mm2: Interval = given("power density over the pad area: median, 5 and 95 % quantile", "W/mm2")
    energy_density_j_mm2: float | None = given(
        "mean energy density over the pad area; null where it was not recorded", "J/mm2", default=None
    )
    loss_per_stop: Interval = given("share of mu lost per stop at first, negative for a gain; 95 % interval", "1")
    loss_per_j_mm2: Interval = given("the same per energy density", "mm2/J")
    shown: Shown = given("whether friction fell by a film under it, or the rate that matters is excluded")


class FilmCleared(Result):
    """Use that took a film off."""

    test: str = given("test")
    stops: int = given("stops")
    temperature_c: float = given("initial temperature that a stop needs to count as this use, 95 % quantile", "degC")
    power_density_w_mm2: float = given("power density, alike", "W/mm2")
    regained: Interval = given("share of the loss regained, 95 % interval", "1")


class FilmEvidence(Result):
    """All of the tests' use between checks, as evidence of a film's growth and removal."""

    uses: list[FilmUse] = given("alike use", default_factory=list)
    cleared: list[FilmCleared] = given("use that took a film off", default_factory=list)
    rate_that_matters_per_stop: float = given("loss per stop by which `harmless` is judged here", "1")
    confounded: bool | None = given(
        "whether power density and temperature were only varied together between what glazed and what was harmless; "
        "null where not both were seen",
        default=None,
    )
    words: list[str] = given("the evidence in words", default_factory=list)
