"""shares.json: what each setting in which two methods differ does alone, on a sample of the tests, and what is left to them together."""

from __future__ import annotations

from pipeline.results.model import Result, given

#: beside the names of the settings, where all of them are changed and what is left to their interaction
TOGETHER, INTERACTION = "together", "interaction"


class ClassMove(Result):
    """Change of mu of the sampled stops of a class of initial temperature, relative to the first method's mu."""

    low_c: float | None = given("from; null for no bound", "degC", default=None)
    high_c: float | None = given("to; null for no bound", "degC", default=None)
    stops: int = given("stops with mu by both methods and under every setting alone")
    mean: float = given("mean; those of the settings alone and of the interaction add up to that of all together", "1")
    p05: float = given("5th percentile", "1")
    p95: float = given("95th percentile", "1")


class EndMove(Result):
    """How far the ends of a test's friction window move; null where there is no window on one of the sides, or it was not fitted again."""

    test: str = given("test")
    low_k: float | None = given("lower end", "K", default=None)
    high_k: float | None = given("upper end", "K", default=None)


class AloneAnswer(Result):
    """A conclusion of a test on which the two methods differ, and what it is with one setting changed."""

    test: str = given("test")
    what: str = given("question")
    answer: str | int | None = given("answer with this setting alone; null where it says nothing", default=None)


class Share(Result):
    """What moves from the first method to it with something changed."""

    classes: list[ClassMove] = given("by class of temperature", default_factory=list)
    every: ClassMove | None = given("over all temperatures", default=None)
    windows: list[EndMove] = given("ends of the tests' windows", default_factory=list)
    gained: int = given("stops that the first method does not find", default=0)
    lost: int = given("stops that it finds and this does not", default=0)
    status_changed: int = given("stops of another status", default=0)
    answers: list[AloneAnswer] = given("conclusions on which the methods differ", default_factory=list)


class SettingShare(Share):
    """What one setting does alone: the first method with this setting of the second."""

    name: str = given("section and key")
    why: str | None = given("why it was not applied alone; null where it was", default=None)


class Shares(Result):
    """shares.json of two methods."""

    a: str | None = given("the first method's id", default=None)
    b: str | None = given("the second's", default=None)
    unusable: str | None = given("why the stage could not do its work", default=None)
    tests: list[str] = given("tests of the sample", default_factory=list)
    tests_of: int = given("tests of the archive", default=0)
    left_out: dict[str, str] = given("tests of the sample that give nothing, and why", default_factory=dict)
    reductions: int = given("reductions of a test that it took", default=0)
    stops: int = given("stops of the sample with mu by both methods and under every setting alone", default=0)
    stops_of: int = given("stops of the sample with mu by both methods", default=0)
    settings: list[SettingShare] = given("each setting alone, what moves mu most first", default_factory=list)
    interaction: Share | None = given(
        "all together less the sum of each alone; null without two that move a stop", default=None
    )
    together: Share | None = given("from the first method to the second", default=None)
    software: str | None = given("version of the software", default=None)
