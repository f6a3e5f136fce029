"""delta.json: what a change of method did to the stops and to what is concluded from them."""

from __future__ import annotations

from typing import Any, Literal

from pipeline.results.model import Result, given

Answer = Literal["yes", "in part", "no"]


class Setting(Result):
    """A setting in which the two methods differ."""

    name: str = given("section and key")
    a: Any = given("value of the first method, SI")
    b: Any = given("value of the second, SI")
    meaning: str = given("meaning of the setting", default="")


class Change(Result):
    """Change of mu over some stops, second method less first; null without a stop that both give mu."""

    median: float | None = given("median", default=None)
    p05: float | None = given("5th percentile", default=None)
    p95: float | None = given("95th percentile", default=None)
    largest: float | None = given("largest by amount", default=None)
    relative_median: float | None = given("median relative to the first method's mu", "1", default=None)
    relative_p05: float | None = given("5th percentile of that", "1", default=None)
    relative_p95: float | None = given("95th percentile of that", "1", default=None)


class Overview(Result):
    """Counts over all stops, and the change of mu."""

    stops: int = given("stops of either method", default=0)
    with_mu_in_both: int | None = given("with mu in both", default=None)
    only_a: int | None = given("found by the first only", default=None)
    only_b: int | None = given("found by the second only", default=None)
    mu_unchanged: int | None = given("with the same mu to the last digit", default=None)
    energy_unchanged: int | None = given("with the same energy", default=None)
    energy_changed: int | None = given("with another energy", default=None)
    status_changed: int | None = given("with another status", default=None)
    change: Change | None = given("change of mu", default=None)


class TemperatureClass(Change):
    """Change of mu in a class of initial temperature."""

    low_c: float | None = given("from; null for no bound", "degC", default=None)
    high_c: float | None = given("to; null for no bound", "degC", default=None)
    stops: int = given("stops with mu in both")
    comparable: bool | None = given("whether the change is small against what one stop is known to", default=None)


class BlockChange(Change):
    """Change of mu in a block of a test."""

    test: str = given("test")
    block: str | None = given("block", default=None)
    purpose: str | None = given("its purpose", default=None)
    stops: int = given("stops with mu in both")
    mu_a: float = given("mean by the first method")
    mu_b: float = given("mean by the second")


class MovedStop(Result):
    """A stop whose mu moved."""

    test: str = given("test")
    stop: int | None = given("stop", default=None)
    block: str | None = given("block", default=None)
    mu_a: float = given("by the first method")
    mu_b: float = given("by the second")
    mu_difference: float = given("second less first")
    temperature_initial_c: float | None = given("initial temperature", "degC", default=None)


class StatusChange(Result):
    """A stop whose status is not the same, or that only one method has."""

    test: str = given("test")
    stop: int | None = given("stop", default=None)
    block: str | None = given("block", default=None)
    status_a: str | None = given("by the first method; null where it has no such stop", default=None)
    status_b: str | None = given("by the second", default=None)


class Conclusion(Result):
    """What the two methods conclude of one question about a test or a compound."""

    scope: Literal["test", "compound"] = given("whether it is about a test or a compound")
    name: str = given("which")
    what: str = given("question")
    a: str | int | None = given("by the first method; null where it says nothing", default=None)
    b: str | int | None = given("by the second", default=None)
    changed: bool = given("whether they differ by more than they are quoted to")


class Comparable(Result):
    """Whether sheets of the two methods remain comparable."""

    answer: Answer = given("in part: some temperatures compare and others do not")
    text: str = given("in words")
    classes: list[TemperatureClass] = given("by class of temperature", default_factory=list)


class Delta(Result):
    """delta.json of two methods."""

    a: str | None = given("the first method's id", default=None)
    b: str | None = given("the second's", default=None)
    unusable: str | None = given("why the stage could not do its work", default=None)
    settings: list[Setting] = given("settings in which they differ", default_factory=list)
    overview: Overview | None = given("over all stops", default=None)
    classes: list[TemperatureClass] = given("by class of temperature", default_factory=list)
    blocks: list[BlockChange] = given("by test and block", default_factory=list)
    largest: list[MovedStop] = given("the stops that moved most", default_factory=list)
    status_changes: list[StatusChange] = given("stops of another status", default_factory=list)
    conclusions: list[Conclusion] = given("every conclusion side by side", default_factory=list)
    changed: list[Conclusion] = given("those that changed", default_factory=list)
    comparable: Comparable | None = given("whether earlier sheets remain comparable", default=None)
    not_reprocessable: list[str] = given("tests kept as a reduced table only", default_factory=list)
    software: str | None = given("version of the software", default=None)
