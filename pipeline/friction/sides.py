"""One verdict over both duties: what the low-energy side and the high-energy side of the data each show.

Low-energy duty runs discs cold, where carbon may be below its transition and glaze; high-energy duty runs
them hot, where it may fade. Each side is a list of questions with their figures; a side holds when every
question that the data can answer is answered well and none is open. Glazing and its recovery are drift's
verdict: here stand only the friction figures, and that stops were left out for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np

from pipeline.friction import tested
from pipeline.friction.map import FrictionMap
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.friction import OfMap
from pipeline.results.friction_history import Fade, Question, Recovery, Side, Sides
from pipeline.results.friction_map import Answer
from pipeline.results.support import basis_of


class OfDuty(NamedTuple):
    """A duty of one use: the share of its energy at conditions whose friction was tested, and what lies beyond in words."""

    duty: str
    use: Literal["gentle", "hard"]
    tested: float
    beyond: str


GLAZED = "glazing-like"
UNCHANGED = "friction unchanged by duty"
RECOVERED = 0.95  # common practice: back to 95 % of the level before
ZERO_C = 273.15


def low_energy(map_: FrictionMap, found: OfMap, wanted: tuple[float, float], start: float | None) -> Side:
    """Cold end: the window's low end against the wanted one, low energy there, blocks changed by duty."""
    questions = [window_end(found, start, "low")]
    if start is not None and "energy" not in map_.missing:
        energies = map_.stops["energy_density_j_mm2"].to_numpy()
        lowest = float(np.quantile(energies, 0.05)) * 1e6
        at = map_.predict(start, energy_density=lowest)
        text = f"mu at {start - ZERO_C:.0f} °C and a low energy density, {lowest / 1e6:.1f} J/mm2 (one map stop in twenty has less)"
        conditions = (map_.reference.pressure, map_.reference.speed, lowest)
        near = bool(tested.along(map_, np.array([start]), conditions)[0])
        questions.append(in_band(text, at.mu[0], at.se[0], bool(at.supported[0]) and near, wanted))
    changed = [(block.shift, block.why) for block in found.left_out if block.shift is not None and block.shift < 0]
    if changed:
        shift, why = min(changed)
        questions.append(Question(question=UNCHANGED, answer="no", value=shift, text=why))
    # a compound's stops after the onset of a drift are gone before any block is looked at
    for test in found.changed if isinstance(found, CompoundFriction) else []:
        answer: Answer = "no" if test.verdict == GLAZED else "not shown"
        questions.append(Question(question=UNCHANGED, answer=answer, text=test.why))
    return summed("low-energy side", questions)


def high_energy(found: OfMap, wanted: tuple[float, float], end: float | None) -> Side:
    """Hot end: the window's high end against the wanted one, lowest mu of the fade, recovery."""
    questions = [window_end(found, end, "high")]
    # over several tests the lowest friction, which need not be in the test of the lowest index
    tests = found.tests if isinstance(found, CompoundFriction) else []
    every = [test.fade for test in tests if test.fade]
    fade = min(every, key=lambda one: one.mu_min) if every else found.fade
    if fade is None:
        questions.append(Question(question="mu in the fade", answer="not shown", text="no fade block was run"))
    else:
        questions.append(_in_fade(fade, wanted))
    recoveries = [test.recovery for test in tests if test.recovery] if tests else [found.recovery]
    questions.append(_recovered([one for one in recoveries if one is not None and one.index is not None]))
    return summed("high-energy side", questions)


def _in_fade(fade: Fade, wanted: tuple[float, float]) -> Question:
    """Whether the lowest mu of the fade lies in the target band, by the interval that its ratio to the level before has."""
    text = f"lowest mu measured in the fade {fade.mu_min:.3f} at {fade.temperature_c:.0f} °C, wanted {wanted[0]:.3g} to {wanted[1]:.3g}"
    answer: Answer = "not shown" if wanted[0] <= fade.mu_min <= wanted[1] else "no"
    if fade.index is not None and fade.index_low is not None and fade.index_high is not None:
        low, high = (fade.mu_min * end / fade.index for end in (fade.index_low, fade.index_high))
        answer = inside((low, high), wanted)
        text += f", interval {low:.3f} to {high:.3f}"
    else:
        text += ", without an interval"
    return Question(question="mu in the fade", answer=answer, value=fade.mu_min, text=text)


def _recovered(recoveries: list[Recovery]) -> Question:
    """Whether the level came back after the fade, by the index's interval; of several tests the lowest."""
    worst = min(recoveries, key=lambda one: one.index or 0.0, default=None)
    if worst is None or worst.index is None:
        text = "no check after a fade to tell recovery by"
        return Question(question="recovery", answer="not shown", text=text)
    answer: Answer = "not shown" if worst.index >= RECOVERED else "no"
    text = f"back to {100 * worst.index:.0f} % of the level before"
    if worst.index_low is not None and worst.index_high is not None:
        answer = inside((worst.index_low, worst.index_high), (RECOVERED, np.inf))
        text += f", interval {100 * worst.index_low:.0f} to {100 * worst.index_high:.0f} %"
    else:
        text += ", without an interval"
    return Question(question="recovery", answer=answer, value=worst.index, text=text)


def inside(interval: tuple[float, float], limits: tuple[float, float]) -> Answer:
    """yes where the whole interval lies inside the limits, no where it lies outside, else not shown."""
    if interval[0] >= limits[0] and interval[1] <= limits[1]:
        return "yes"
    return "no" if interval[1] < limits[0] or interval[0] > limits[1] else "not shown"


def window_end(found: OfMap, limit: float | None, side: Literal["low", "high"]) -> Question:
    """Whether the window reaches the wanted end (K); without a wanted one the window's own end is told."""
    window, name = found.window, f"window reaches the wanted {side} end"
    if window is None:
        return Question(question=name, answer="not shown", text=f"no window: {found.window_reason}")
    end, why, limited_by = (
        (window.low_c, window.low_why, window.low_limited_by)
        if side == "low"
        else (window.high_c, window.high_why, window.high_limited_by)
    )
    if limit is None:
        return Question(question=name, answer="not shown", value=end, text=f"no target; {why}")
    margin = (limit - ZERO_C - end) if side == "low" else (end - limit + ZERO_C)
    text = f"window's {side} end {end:.0f} °C, wanted {limit - ZERO_C:.0f} °C: {why}"
    short: Answer = "not shown" if limited_by == "data" else failing(found, side)
    answer: Answer = "yes" if margin >= -1e-6 else short
    return Question(question=name, answer=answer, value=end, margin_c=margin, text=text)


def failing(found: OfMap, side: str) -> Literal["no", "not shown"]:
    """no where the target range's verdict shows a failure on this side of its middle, else not shown."""
    holds = found.holds
    if not holds or holds.answer != "no":
        return "not shown"
    middle = (holds.from_c + holds.to_c) / 2
    here = [r for r in holds.fails if (r.from_c < middle if side == "low" else r.to_c > middle)]
    return "no" if here else "not shown"


def with_duties(sides: Sides, duties: Sequence[OfDuty]) -> Sides:
    """The sides with what the duties of each use ask: was friction tested where they brake."""
    found = {"gentle": sides.low_energy, "hard": sides.high_energy}
    for one in duties:
        side = found[one.use]
        answer: Answer = "yes" if basis_of(one.tested) == "tested" else "not shown"
        text = f"{one.duty}: {100 * one.tested:.0f} % of its energy brakes at conditions whose friction was tested"
        text += f"; beyond: {one.beyond}" if one.beyond else ""
        asked = Question(question=f"friction known where {one.duty} brakes", answer=answer, value=one.tested, text=text)
        found[one.use] = summed(side.side, [*side.questions, asked])
    return verdict(found["gentle"], found["hard"])


def in_band(text: str, mu: float, se: float, supported: bool, wanted: tuple[float, float]) -> Question:
    question = "mu at the low energies run"
    if not supported:
        return Question(question=question, answer="not shown", text=f"{text}: outside the data")
    answer = inside((mu - 2 * se, mu + 2 * se), wanted)
    return Question(question=question, answer=answer, value=float(mu), text=f"{text}: {mu:.3f}")


def summed(name: str, questions: list[Question]) -> Side:
    answers = [q.answer for q in questions]
    answer: Answer = "no" if "no" in answers else "not shown" if "not shown" in answers else "yes"
    deciding = [q.text for q in questions if q.answer == answer]
    return Side(side=name, answer=answer, questions=questions, text=f"{name}: {answer}; " + "; ".join(deciding))


def verdict(low: Side, high: Side) -> Sides:
    """Both sides in one: yes only where both are."""
    answers = (low.answer, high.answer)
    answer: Answer = "no" if "no" in answers else "not shown" if "not shown" in answers else "yes"
    return Sides(answer=answer, low_energy=low, high_energy=high, text=f"{low.text}. {high.text}.")
