"""Answers that something else gives and not the material: brakes stated unlike, recordings that stand under two
names, programs whose wear no identified law brings together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import polars as pl

from pipeline.batches import brakes
from pipeline.batches.answers import Quantity, answer_all
from pipeline.batches.caveats import copied_words
from pipeline.batches.specimens import SpecimenTest, reference_stops
from pipeline.method.batches import Batches
from pipeline.results.batches import Answer
from pipeline.results.rigs import Copied

Answers = list[Answer]
Pairs = Sequence[tuple[str, str]]

PROGRAMS_APART = 0.10  # programs whose energy, or expected wear, per stop differs by more are not compared as measured


def with_usual_brake(tests: list[SpecimenTest]) -> list[SpecimenTest] | None:
    """The tests with mu and bite as the brake that most cards state gives them; None where that changes none."""
    factors = usual_factors(tests)
    if not factors:
        return None
    columns = ("mu", "mu_bite")
    return [
        replace(t, stops=t.stops.with_columns(pl.col(columns) * factors[t.test])) if t.test in factors else t
        for t in tests
    ]


def usual_factors(tests: list[SpecimenTest]) -> dict[str, float]:
    """test -> factor on its mu, of the tests whose cards state another brake than most."""
    factor = brakes.usual_brake({t.test: t.brake for t in tests if t.brake is not None})
    found = {}
    for test in tests:
        pressure = reference_stops(test)["pressure_bar"].median()
        found[test.test] = factor(test.test, 1e5 * pressure) if isinstance(pressure, int | float) else 1.0
    return {name: value for name, value in found.items() if value != 1.0}


def of_cards(
    answers: Answers, pairs: Pairs, tests: list[SpecimenTest], usual: Quantity | None, settings: Batches
) -> Answers:
    """The answers, undecided where the brake that most cards state would give another one.

    usual: the quantity read with that brake, None where all cards state it. Only pairs with a test whose card differs
    are looked at; a difference in the other direction is another answer too.
    """
    if usual is None:
        return answers
    odd = {t.batch for t in tests if t.test in usual_factors(tests)}
    other = answer_all(usual, list(pairs), settings)
    return [
        _decided(pair, as_stated, with_usual, tests) if odd & set(pair) else as_stated
        for pair, as_stated, with_usual in zip(pairs, answers, other, strict=True)
    ]


def _decided(pair: tuple[str, str], as_stated: Answer, usual: Answer, tests: list[SpecimenTest]) -> Answer:
    a, b = as_stated.figure.value, usual.figure.value
    told = replace(as_stated, with_usual_brake=usual.figure)
    if (
        a is None
        or b is None
        or (as_stated.verdict == usual.verdict and (as_stated.verdict != "different" or a * b > 0))
    ):
        return told
    cards = {t.test: t.brake for t in tests if t.batch in pair and t.brake is not None}
    why = (
        f"{brakes.words(brakes.differences(cards, ('mu',)))}: the difference is {a:.4f} as stated and {b:.4f} with "
        "the brake "
        "that most cards state, and the recordings do not tell which card is right"
    )
    return replace(told, verdict="undecided", why=why)


def of_programs(answers: Answers, pairs: Pairs, tests: list[SpecimenTest]) -> Answers:
    """The wear answers, undecided where the programs of the pair are unlike and no identified law brings them
    together.
    """
    whys = [_programs_apart(pair, tests) for pair in pairs]
    return [
        replace(answer, verdict="undecided", why=why) if why and answer.verdict != "undecided" else answer
        for answer, why in zip(answers, whys, strict=True)
    ]


def _programs_apart(pair: tuple[str, str], tests: list[SpecimenTest]) -> str | None:
    """Why the wear of a pair is not like with like; None where it is, or was brought together."""
    own = [[t for t in tests if t.batch == batch and t.wear_rate is not None] for batch in pair]
    unscaled = next((t.wear_rate.unscaled for side in own for t in side if t.wear_rate and t.wear_rate.unscaled), None)
    if unscaled is None:
        return None
    energy = _apart([[t.energy_per_stop_kj for t in side] for side in own])
    expected = _apart([[t.wear_rate.expected for t in side if t.wear_rate] for side in own])
    if max(energy, expected) <= PROGRAMS_APART:
        return None
    said = (
        f"energy per stop by {100 * np.expm1(energy):.0f} %"
        if energy > PROGRAMS_APART
        else (f"wear expected of their stops by {100 * np.expm1(expected):.0f} %")
    )
    return f"the batches' programs are unlike ({said}), and {unscaled}: their wear cannot be brought to one program"


def _apart(sides: Sequence[Sequence[float | None]]) -> float:
    """How far apart two sides' geometric means are, as a logarithm; 0 where a side has none."""
    known = [[np.log(v) for v in side if v] for side in sides]
    return abs(float(np.mean(known[0]) - np.mean(known[1]))) if all(known) else 0.0


def of_copies(answers: Answers, pairs: Pairs, copied: Sequence[Copied]) -> Answers:
    """The answers, undecided where one test's recordings stand under two batches: which of them was tested is not
    known.
    """
    unknown: dict[str, str] = {}
    for item in copied:
        for batch in item.cards_differ_in.get("batch", ()):
            unknown.setdefault(batch, f"{copied_words(item)}, and their cards name different batches")
    result = []
    for pair, answer in zip(pairs, answers, strict=True):
        why = next((unknown[batch] for batch in pair if batch in unknown), None)
        decided = why is not None and answer.verdict != "undecided"
        result.append(replace(answer, verdict="undecided", why=why) if decided else answer)
    return result
