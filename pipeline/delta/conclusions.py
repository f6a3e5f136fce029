"""What the two methods conclude, side by side: windows, wear laws, drift, batches, duties, usable tests.

A conclusion is a verdict, a word that someone acts on, or figures: ends of a window, an opening, an onset. A verdict is changed where
the words differ but for the reason of a no, or where one method gives figures and the other none. Figures are held against their intervals (`pipeline.delta.moved`):
an end of a window that moves by a few degrees inside what it is known to concludes nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pipeline.delta.moved import Stated, held, worst
from pipeline.results.batches import CompoundBatches, Quantity
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.delta import Conclusion
from pipeline.results.drift import TestDrift
from pipeline.results.duty import CompoundDuty, DutyProjection
from pipeline.results.friction import TestFriction
from pipeline.results.sheet import Sheet
from pipeline.results.summary import TestSummary
from pipeline.results.wear import ComponentWear, CompoundWear, TestWear
from pipeline.wording import in_percent

Scope = Literal["test", "compound"]

DENIED = ("no: ", "none: ")  # what stands before a reason
#: questions of a pair of batches, as they are called here
QUESTIONS: dict[Quantity, str] = {"mu": "mu", "bite": "bite", "wear": "disc wear"}


@dataclass(frozen=True)
class OfCompound:
    """A compound's files under one method; None where one is missing."""

    friction: CompoundFriction | None = None
    wear: CompoundWear | None = None
    batches: CompoundBatches | None = None
    duty: CompoundDuty | None = None
    sheet: Sheet | None = None


@dataclass(frozen=True)
class OfTest:
    """A test's files under one method; None where one is missing."""

    summary: TestSummary | None = None
    friction: TestFriction | None = None
    wear: TestWear | None = None
    drift: TestDrift | None = None


def of_test(test: str, a: OfTest, b: OfTest) -> list[Conclusion]:
    """Conclusions of one test from its files under either method."""
    rows = [_row("test", test, "usable", _usable(a.summary), _usable(b.summary))]
    old, new = (side.drift or TestDrift(test=test) for side in (a, b))
    rows.append(_row("test", test, "drift", old.verdict, new.verdict))
    rows.append(
        _figures("test", test, "drift onset (stop)", (old.onset_stop, new.onset_stop), [(_onset(old), _onset(new))])
    )
    rows.append(_window("test", test, a.friction, b.friction))
    rows += _laws("test", test, a.wear, b.wear)
    return [row for row in rows if row.a is not None or row.b is not None]


def of_compound(compound: str, a: OfCompound, b: OfCompound) -> list[Conclusion]:
    """Conclusions of one compound from its files under either method."""
    rows = [_window("compound", compound, a.friction, b.friction), *_laws("compound", compound, a.wear, b.wear)]
    rows += _batches(compound, a.batches, b.batches) + _duties(compound, a.duty, b.duty)
    rows += _targets(compound, a.sheet, b.sheet)
    return [row for row in rows if row.a is not None or row.b is not None]


Shown = str | int | None


def _row(scope: Scope, name: str, what: str, old: Shown, new: Shown) -> Conclusion:
    """A verdict; where both say no, another reason is none of its own: most name figures, which another method moves."""
    return Conclusion(
        scope=scope, name=name, what=what, a=old, b=new, changed=_without_reason(old) != _without_reason(new)
    )


def _without_reason(said: Shown) -> Shown:
    denied = isinstance(said, str) and said.startswith(DENIED)
    return str(said).partition(":")[0] if denied else said


def _figures(
    scope: Scope, name: str, what: str, shown: tuple[Shown, Shown], ends: list[tuple[Stated | None, Stated | None]]
) -> Conclusion:
    """Figures with what each is known to; where one side gives none, or says it with another reservation, a verdict."""
    pairs = [(a, b) for a, b in ends if a is not None and b is not None]
    if not pairs or len(pairs) < len(ends):
        return _row(scope, name, what, *shown)
    moved = worst(held(a, b) for a, b in pairs)
    return Conclusion(
        scope=scope, name=name, what=what, a=shown[0], b=shown[1], kind="figure", moved=moved,
        changed=moved in ("beyond", "no interval"),
    )  # fmt: skip


def _onset(drift: TestDrift) -> Stated | None:
    return None if drift.onset_stop is None else Stated(drift.onset_stop, drift.onset_low, drift.onset_high)


def _usable(summary: TestSummary | None) -> str | None:
    if summary is None:
        return None
    return f"no: {summary.unusable}" if summary.unusable else "yes"


Friction = TestFriction | CompoundFriction


def _window(scope: Scope, name: str, a: Friction | None, b: Friction | None) -> Conclusion:
    """The friction window by its two ends."""
    ends = [tuple(_end(side, which) for side in (a, b)) for which in ("low", "high")]
    return _figures(scope, name, "window", (_window_words(a), _window_words(b)), [(old, new) for old, new in ends])


def _end(friction: Friction | None, which: Literal["low", "high"]) -> Stated | None:
    window = friction.window if friction else None
    if window is None:
        return None
    value, known = (window.low_c, window.low_interval_c) if which == "low" else (window.high_c, window.high_interval_c)
    return Stated(value, known.low, known.high, f"{value:.0f}")


def _window_words(friction: Friction | None) -> str | None:
    if friction is None or friction.unusable:
        return None
    window = friction.window
    if window is None:
        return f"none: {friction.window_reason or 'no reason given'}"
    return f"{window.low_c:.0f} to {window.high_c:.0f} °C"


def _laws(
    scope: Scope, name: str, a: TestWear | CompoundWear | None, b: TestWear | CompoundWear | None
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
    """Opening to run and share of energy inside the window, by duty; the answer over gentle and hard use."""
    old, new = ({one.duty: one for one in side.duties} if side else {} for side in (a, b))
    rows = []
    for duty in dict.fromkeys([*old, *new]):
        pair = old.get(duty), new.get(duty)
        rows.append(_openings(compound, duty, *pair))
        shares = tuple(one.window_share if one else None for one in pair)
        stated = [None if share is None else Stated(share, text=f"{in_percent(share)}") for share in shares]
        what = f"share of energy in the window on {duty}"
        rows.append(
            _figures("compound", compound, what, (_share(shares[0]), _share(shares[1])), [(stated[0], stated[1])])
        )
    answers = [side.both_duties.answer if side and side.both_duties else None for side in (a, b)]
    if any(answers):
        rows.append(_row("compound", compound, "gentle and hard use on one opening", answers[0], answers[1]))
    return rows


def _openings(compound: str, duty: str, a: DutyProjection | None, b: DutyProjection | None) -> Conclusion:
    """The opening to run by its two ends; where the reservation is another, a verdict."""
    what, shown = f"opening to run on {duty}", (_opening(a), _opening(b))
    sides = [side for side in (a, b) if side is not None and side.opening_to_run is not None]
    if len(sides) < 2 or _reservation(sides[0]) != _reservation(sides[1]):
        return _row("compound", compound, what, *shown)
    (low_a, high_a), (low_b, high_b) = (_opening_ends(side) for side in sides)
    return _figures("compound", compound, what, shown, [(low_a, low_b), (high_a, high_b)])


def _opening_ends(duty: DutyProjection) -> tuple[Stated | None, Stated | None]:
    span = duty.opening_to_run
    if span is None:
        return None, None
    known = (duty.opening_to_run_low, duty.opening_to_run_high)
    low, high = (
        Stated(value, one.low if one else None, one.high if one else None, f"{value:.2f}")
        for value, one in zip((span.low, span.high), known, strict=True)
    )
    return low, high


def _opening(duty: DutyProjection | None) -> str | None:
    if duty is None:
        return None
    if duty.opening_to_run is None:
        return f"none: {duty.opening_to_run_why or 'no reason given'}"
    return f"{duty.opening_to_run.low:.2f} to {duty.opening_to_run.high:.2f}{_reservation(duty)}"


def _reservation(duty: DutyProjection) -> str:
    if duty.opening_untested:
        return ", friction of such stops not tested"
    return ", with a reservation" if duty.reserved else ""


def _share(value: float | None) -> str | None:
    return None if value is None else f"{in_percent(value)}"


def _targets(compound: str, a: Sheet | None, b: Sheet | None) -> list[Conclusion]:
    """Whether each target is met, as the sheets say."""
    old, new = ({one.target: one.met for one in side.targets} if side else {} for side in (a, b))
    return [
        _row("compound", compound, f"target {name}", old.get(name), new.get(name))
        for name in dict.fromkeys([*old, *new])
    ]
