"""What limits the cooling openings to run, what the tests cannot exclude there, and the test that would settle it."""

from __future__ import annotations

from typing import Literal

from pipeline.results.model import Interval, Result, given

Cause = Literal["window", "glazing", "wear data", "life", "temperature"]
Answer = Literal["glazes", "harmless", "untested"]
#: what may go wrong at an opening although no test shows it, in words
OPEN_WORDS: dict[Cause, str] = {
    "window": "friction not as in the window",
    "temperature": "friction beyond the data",
    "glazing": "film",
    "wear data": "wear beyond the data",
    "life": "short life",
}


class OpeningLimit(Result):
    """Where, going on from the openings to run, one requirement ceases to hold."""

    cause: Cause = given("requirement; temperature: the friction data end before the window does")
    at: float = given("last opening at which it holds", "1")
    side: Literal["low", "high"] = given("end of the openings to run beyond which it lies")
    why: str = given("what fails beyond it")


class NotExcluded(Result):
    """What the tests cannot exclude at openings that nothing they show speaks against."""

    cause: Cause = given("requirement that may fail")
    low: float = given("first of the openings to run concerned", "1")
    high: float = given("last of them", "1")
    why: str = given("what is not known")


class FilmLoss(Interval):
    """Share of mu lost to a film by glazing use, at the end of the use or at its worst.

    value is null where the bounds leave more open than the target; high is null where nothing tested bounds it.
    """

    high_why: str | None = given("why there is no upper end", default=None)


class SettlingLog(Result):
    """The log of the vehicle that is to come before a settling test: its heat leaves more open than the rig does."""

    opening: float = given("opening at which to drive", "1")
    uses: int = given("uses of the duty to log, each from a cold disc")
    sampling_hz: float = given("slowest sampling of the disc temperature and the air's", "Hz")
    thermocouple_k: float = given("limits of the error of the disc thermocouple that it asks for, as installed", "K")
    cooling_u: float = given("standard uncertainty of the logarithm of the cooling that it leaves", "1")
    within_now_k: float = given(
        "half width of the interval of the temperatures at which the use's brakings begin, as known now", "K"
    )
    within_k: float = given("the same with the log", "K")
    text: str = given("the log in words")


class SettlingTest(Result):
    """The test that would tell whether the duty glazes at an opening."""

    opening: float = given("opening whose conditions it runs", "1")
    power_density_w_mm2: float = given("power density of the gentle stops over the pad area", "W/mm2")
    temperature_c: float = given("their initial temperature", "degC")
    energy_density_j_mm2: float = given("their energy density over the pad area", "J/mm2")
    gentle_stops: int = given("gentle stops")
    second_power_density_w_mm2: float | None = given(
        "power density of the second gentle use, which is the duty's hardest; null where no hard use clears between",
        "W/mm2",
        default=None,
    )
    second_temperature_c: float | None = given("its initial temperature, the duty's warmest", "degC", default=None)
    second_stops: int | None = given("its stops", default=None)
    check_stops: int = given("stops of each block of checks")
    hard_stops: int = given("hard stops after them, all together")
    least_loss: float = given("share of mu that the gentle stops lose at the rate that matters", "1")
    u: float = given("standard uncertainty of their change of mu, by the checks' repeatability", "1")
    hours: float | None = given("time on the rig", "h", default=None)
    hours_why: str | None = given("what the hours rest on, or why there are none", default=None)
    blocks: str = given("the blocks in a card's form, ready to paste: YAML with the key `blocks`")
    log: SettlingLog | None = given(
        "the log that is to come before it; null where none would narrow what is open", default=None
    )
    text: str = given("the test in words")


class DutyStopPlace(Result):
    """A braking of the settled cycle in temperature and power density."""

    temperature_c: float = given("temperature at which it begins", "degC")
    power_density_w_mm2: float = given("mean power density over the pad area", "W/mm2")
    energy_density_j_mm2: float = given("energy density over the pad area", "J/mm2")
    answer: Answer = given("what the tests say of the film there, at the rate that matters")


class FilmArea(Result):
    """What the tests say of the film over initial temperature and power density, at a rate of growth that matters."""

    rate_per_j_mm2: float = given("share of mu lost per energy density at which a use loses the target", "mm2/J")
    rate_per_stop: float = given("the same per stop of the use", "1")
    opening: float = given("opening of the duty's stops", "1")
    temperature_c: list[float] = given("initial temperatures of the columns", "degC")
    power_density_w_mm2: list[float] = given("power densities of the rows", "W/mm2")
    answers: list[list[Answer]] = given("answer by row and column")
    duty_stops: list[DutyStopPlace] = given("brakings of the duty's settled cycle", default_factory=list)
