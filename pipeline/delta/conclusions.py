"""What the two methods conclude, side by side: windows, wear laws, drift, batches, duties, usable tests.

A conclusion is a word or a pair of temperatures that someone acts on. Words count as changed when they
differ, temperatures when they differ by more than they are quoted to.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pipeline.results.batches import CompoundBatches, Quantity
from pipeline.results.drift import TestDrift
from pipeline.results.duty import CompoundDuty, DutyProjection
from pipeline.results.wear import ComponentWear, CompoundWear, TestWear

QUOTED_C = 1.0  # window ends and duty temperatures are quoted to a degree
QUOTED_SHARE = 0.01

Conclusion = dict[str, Any]

#: questions of a pair of batches, as they are called here
QUESTIONS: dict[Quantity, str] = {"mu": "mu", "bite": "bite", "wear": "disc wear"}


@dataclass(frozen=True)
class OfCompound:
    """A compound's files under one method; None where one is missing."""

    friction: Mapping[str, Any] | None = None
    wear: CompoundWear | None = None
    batches: CompoundBatches | None = None
    duty: CompoundDuty | None = None
    sheet: Mapping[str, Any] | None = None


@dataclass(frozen=True)
class OfTest:
    """A test's files under one method; None where one is missing."""

    summary: Mapping[str, Any] | None = None
    friction: Mapping[str, Any] | None = None
    wear: TestWear | None = None
    drift: TestDrift | None = None


def of_test(test: str, a: OfTest, b: OfTest) -> list[Conclusion]:
    """Conclusions of one test from its files under either method."""
    plain = [{"summary": side.summary, "friction": side.friction} for side in (a, b)]
    rows = [_row("test", test, "usable", _usable(plain[0]), _usable(plain[1]))]
    old, new = (side.drift or TestDrift(test=test) for side in (a, b))
    rows.append(_row("test", test, "drift", old.verdict, new.verdict))
    rows.append(_row("test", test, "drift onset (stop)", old.onset_stop, new.onset_stop))
    rows.append(_window("test", test, *plain))
    rows += _laws("test", test, a.wear, b.wear)
    return [row for row in rows if row["a"] is not None or row["b"] is not None]


def of_compound(compound: str, a: OfCompound, b: OfCompound) -> list[Conclusion]:
    """Conclusions of one compound from its files under either method."""
    plain = [{"friction": side.friction, "sheet": side.sheet} for side in (a, b)]
    rows = [_window("compound", compound, *plain), *_laws("compound", compound, a.wear, b.wear)]
    rows += _batches(compound, a.batches, b.batches) + _duties(compound, a.duty, b.duty)
    rows += _targets(compound, *plain)
    return [row for row in rows if row["a"] is not None or row["b"] is not None]


def _row(scope: str, name: str, what: str, old: Any, new: Any, changed: bool | None = None) -> Conclusion:
    return {
        "scope": scope,
        "name": name,
        "what": what,
        "a": old,
        "b": new,
        "changed": old != new if changed is None else changed,
    }


def _get(source: Mapping[str, Any], *keys: str) -> Any:
    value: Any = source
    for key in keys:
        value = value.get(key) if isinstance(value, Mapping) else None
    return value


def _usable(source: Mapping[str, Any]) -> str:
    why = _get(source, "summary", "unusable")
    return f"no: {why}" if why else "yes"


def _window(scope: str, name: str, a: Mapping[str, Any], b: Mapping[str, Any]) -> Conclusion:
    """The friction window; its ends count to a degree."""
    ends = [(_get(x, "friction", "window", "low_c"), _get(x, "friction", "window", "high_c")) for x in (a, b)]
    words = [_window_words(x, low, high) for x, (low, high) in zip((a, b), ends, strict=True)]
    given = [None not in pair for pair in ends]
    changed = given[0] != given[1]
    if all(given):
        changed = any(abs(new - old) > QUOTED_C for old, new in zip(*ends, strict=True))
    return _row(scope, name, "window", words[0], words[1], changed)


def _window_words(source: Mapping[str, Any], low: float | None, high: float | None) -> str | None:
    if _get(source, "friction") is None or _get(source, "friction", "unusable"):
        return None
    if low is None or high is None:
        return f"none: {_get(source, 'friction', 'window_reason') or 'no reason given'}"
    return f"{low:.0f} to {high:.0f} degC"


def _laws(
    scope: str, name: str, a: TestWear | CompoundWear | None, b: TestWear | CompoundWear | None
) -> list[Conclusion]:
    """The wear law of every component; one that the readings do not identify is told as such."""
    components = [(side.components or {}) if side else {} for side in (a, b)]
    return [
        _row(scope, name, f"wear law of {part}", _law(components[0].get(part)), _law(components[1].get(part)))
        for part in dict.fromkeys([*components[0], *components[1]])
    ]


def _law(component: ComponentWear | None) -> str | None:
    if component is None or component.chosen is None:
        return None
    return component.chosen if component.identified_law else f"none identified ({component.chosen} as a description)"


def _batches(compound: str, a: CompoundBatches | None, b: CompoundBatches | None) -> list[Conclusion]:
    """The three answers of every pair of batches."""
    sides = [{(pair.a, pair.b): pair.verdicts for pair in side.pairs} if side else {} for side in (a, b)]
    rows = []
    for pair in dict.fromkeys([*sides[0], *sides[1]]):
        for what, words in QUESTIONS.items():
            old, new = (side[pair][what] if pair in side else None for side in sides)
            rows.append(_row("compound", compound, f"{words} of {pair[0]} and {pair[1]}", old, new))
    return rows


def _duties(compound: str, a: CompoundDuty | None, b: CompoundDuty | None) -> list[Conclusion]:
    """Opening to run and share of energy inside the window, by duty."""
    old, new = ({one.duty: one for one in side.duties} if side else {} for side in (a, b))
    rows = []
    for duty in dict.fromkeys([*old, *new]):
        pair = old.get(duty), new.get(duty)
        rows.append(_row("compound", compound, f"opening to run on {duty}", _opening(pair[0]), _opening(pair[1])))
        before, after = (one.window_share if one else None for one in pair)
        changed = (before is None) != (after is None)
        if before is not None and after is not None:
            changed = abs(after - before) > QUOTED_SHARE
        what = f"share of energy in the window on {duty}"
        rows.append(_row("compound", compound, what, _share(before), _share(after), changed))
    return rows


def _opening(duty: DutyProjection | None) -> str | None:
    if duty is None:
        return None
    if duty.opening_to_run is None:
        return f"none: {duty.opening_to_run_why or 'no reason given'}"
    return f"{duty.opening_to_run.low:.2f} to {duty.opening_to_run.high:.2f}"


def _share(value: float | None) -> str | None:
    return None if value is None else f"{value:.0%}"


def _targets(compound: str, a: Mapping[str, Any], b: Mapping[str, Any]) -> list[Conclusion]:
    """Whether each target is met, as the sheets say."""
    sides = [{t["target"]: t for t in _get(x, "sheet", "targets") or [] if "target" in t} for x in (a, b)]
    return [
        _row("compound", compound, f"target {name}", *(_get(side.get(name, {}), "met") for side in sides))
        for name in dict.fromkeys([*sides[0], *sides[1]])
    ]
