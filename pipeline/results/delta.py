"""delta.json: what a change of method did to the stops and to what is concluded from them."""

from __future__ import annotations

from typing import Any, Literal

from pipeline.results.model import Result, given

Answer = Literal["yes", "in part", "no"]
Moved = Literal["no", "inside", "beyond", "no interval"]
MOVED = (
    "no: printed alike; inside: by no more than half the width of the first method's interval (where it states none the second's); "
    "beyond: by more; no interval: neither states one"
)


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


class Range(Change):
    """Change of mu in a class of initial temperature and one of energy density."""

    low_c: float | None = given("from; null for no bound", "degC", default=None)
    high_c: float | None = given("to; null for no bound", "degC", default=None)
    low_j_mm2: float | None = given("from; null for no bound", "J/mm2", default=None)
    high_j_mm2: float | None = given("to; null for no bound", "J/mm2", default=None)
    stops: int = given("stops with mu in both")
    comparable: bool = given("whether the change is small against what one stop is known to")


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
    purpose: str | None = given("purpose of its block", default=None)
    stop_a: int | None = given("its number by the first method", default=None)
    stop_b: int | None = given("its number by the second", default=None)


class StatusChange(Result):
    """A stop whose status is not the same, or that only one method has."""

    test: str = given("test")
    stop: int | None = given("stop", default=None)
    block: str | None = given("block", default=None)
    status_a: str | None = given("by the first method; null where it has no such stop", default=None)
    status_b: str | None = given("by the second", default=None)
    stop_a: int | None = given("its number by the first method", default=None)
    stop_b: int | None = given("its number by the second", default=None)


class Conclusion(Result):
    """What the two methods conclude of one question about a test or a compound."""

    scope: Literal["test", "compound"] = given("whether it is about a test or a compound")
    name: str = given("which")
    what: str = given("question")
    a: str | int | None = given("by the first method; null where it says nothing", default=None)
    b: str | int | None = given("by the second", default=None)
    kind: Literal["verdict", "figure"] = given("a word that someone acts on, or figures", default="verdict")
    moved: Moved = given(f"of a figure; {MOVED}", default="no")
    changed: bool = given("another verdict, or figures beyond their intervals, or without one and not printed alike")


class Figure(Result):
    """A figure of the two sheets of a compound, or of a test, that is not printed alike."""

    of: str = given("compound or test")
    part: str = given("part of the sheet")
    what: str = given("what it is, with its condition where several are called alike")
    a: str = given("by the first method, as printed")
    b: str = given("by the second")
    moved: Moved = given(MOVED)
    relative: float | None = given("second less first, of the first by amount", "1", default=None)
    wider: float | None = given("width of the second's interval over the first's", "1", default=None)
    file: str = given("file of the method's results that it stands in", default="")


class Figures(Result):
    """How many figures of sheets and tests moved, and which."""

    compared: int = given("figures that both methods give", default=0)
    unmoved: int = given("printed alike", default=0)
    inside: int = given("moved inside their intervals", default=0)
    beyond: int = given("moved beyond their intervals", default=0)
    no_interval: int = given("moved, without an interval to hold them against", default=0)
    only_a: list[str] = given("that the first method alone gives", default_factory=list)
    only_b: list[str] = given("that the second alone gives", default_factory=list)
    moved: list[Figure] = given("every figure that moved, those beyond their intervals first", default_factory=list)


class Comparable(Result):
    """Whether sheets of the two methods remain comparable."""

    answer: Answer = given("in part: some temperatures or energies compare and others do not, or conclusions changed")
    text: str = given("in words")
    classes: list[TemperatureClass] = given("by class of temperature", default_factory=list)
    ranges: list[Range] = given("by class of temperature and of energy density", default_factory=list)


class Delta(Result):
    """delta.json of two methods."""

    a: str | None = given("the first method's id", default=None)
    b: str | None = given("the second's", default=None)
    unusable: str | None = given("why the stage could not do its work", default=None)
    verdict: list[str] = given("what changed, in sentences", default_factory=list)
    settings: list[Setting] = given("settings in which they differ", default_factory=list)
    overview: Overview | None = given("over all stops", default=None)
    classes: list[TemperatureClass] = given("by class of temperature", default_factory=list)
    blocks: list[BlockChange] = given("by test and block", default_factory=list)
    largest: list[MovedStop] = given("the stops that moved most", default_factory=list)
    examples: list[MovedStop] = given("of each purpose of block the stop that moved most", default_factory=list)
    status_changes: list[StatusChange] = given("stops of another status", default_factory=list)
    conclusions: list[Conclusion] = given("every conclusion side by side", default_factory=list)
    changed: list[Conclusion] = given("those that changed", default_factory=list)
    figures: Figures = given("figures of sheets and tests", default_factory=Figures)
    comparable: Comparable | None = given("whether earlier sheets remain comparable", default=None)
    not_reprocessable: list[str] = given("tests kept as a reduced table only", default_factory=list)
    software: str | None = given("version of the software", default=None)
