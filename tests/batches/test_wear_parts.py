"""Batches alike or not in wear, part by part and in a duty's mix: what a program's oxidation hides is asked for."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.archive.targets import Target
from pipeline.batches.compare import compare
from pipeline.batches.specimens import WearRate
from pipeline.batches.wear_parts import WearParts, held
from pipeline.method.batches import Batches
from pipeline.results.batches import Answer, Difference
from pipeline.results.wear import CompoundWear
from tests.batches.makers import specimen_tests

PAIRS = [("b1", "b2")]
MARGIN = (0.8, 1.25)
HIDDEN = {"b1": [(1.0, 1.0), (1.02, 0.99)], "b2": [(1.3, 1.0), (1.33, 1.02)]}


def part(batches, u=(0.01, 0.02), correlation=-0.7, shares=(0.3, 0.7)):
    names = ("mechanical", "oxidative")
    rows = [
        {"batch": b, "specimen": f"S{i}", "tests": [f"{b}{i}"], "correlation": correlation,
         "factors": {n: {"value": v, "u": s} for n, v, s in zip(names, both, u, strict=True)}}
        for b, several in batches.items() for i, both in enumerate(several)
    ]  # fmt: skip
    return {"by_specimen": rows, "part_shares": dict(zip(names, shares, strict=True))}


def asked(component, margin=MARGIN, name="disc"):
    wear = CompoundWear.model_validate({"compound": "c", "components": {name: component}})
    return WearParts.of(wear, margin, Batches())


def answers(of):
    return {(row.part if row.duty is None else row.duty): row for row in of.rows(PAIRS)[0]}


def equivalent(value=0.9):
    return Answer(Difference(value=value, low=value - 0.02, high=value + 0.02), "equivalent")


def test_abrasion_that_oxidation_hides_is_found():
    of = asked(part(HIDDEN)).with_duties({"flat": {"disc": {"mechanical": 1.0, "oxidative": 0.0}},
                                          "hot": {"disc": {"mechanical": 0.1, "oxidative": 0.9}}})  # fmt: skip
    rows = answers(of)
    assert rows["mechanical"].verdict == "different" and rows["mechanical"].ratio.value == pytest.approx(0.77, abs=0.01)
    assert rows["oxidative"].verdict == "equivalent"
    assert (rows["flat"].verdict, rows["hot"].verdict) == ("different", "equivalent")


def test_no_pair_is_equivalent_while_a_part_that_matters_is_not():
    (answer,) = held([equivalent()], asked(part(HIDDEN)).rows(PAIRS))
    assert answer.verdict == "undecided" and "disc mechanical 0.77 different" in answer.why
    little = asked(part(HIDDEN, shares=(0.05, 0.95))).rows(PAIRS)
    assert held([equivalent()], little)[0].verdict == "equivalent"
    alike = {"b1": [(1.0, 1.0), (1.02, 0.99)], "b2": [(1.01, 1.0), (0.99, 1.02)]}
    assert held([equivalent()], asked(part(alike)).rows(PAIRS))[0].verdict == "equivalent"


def test_an_answer_that_is_not_equivalent_stays_as_it_is():
    other = Answer(Difference(value=0.5, low=0.4, high=0.6), "different")
    assert held([other], asked(part(HIDDEN)).rows(PAIRS)) == [other]


def test_what_readings_do_not_tell_is_undecided_yet_their_own_mix_is_told():
    """Of one program: each part to 60 %, their sum to 1 %."""
    u, share = 0.6, 0.5
    told = asked(part(HIDDEN, u=(u, u), correlation=-1 + 2 * (0.01 / u) ** 2, shares=(share, share)))
    rows = answers(told.with_duties({"as run": {"disc": {"mechanical": share, "oxidative": share}}}))
    assert rows["mechanical"].verdict == rows["oxidative"].verdict == "undecided"
    assert rows["as run"].ratio.value == pytest.approx(1.0 / 1.15, rel=0.02)
    assert held([equivalent()], told.rows(PAIRS))[0].verdict == "undecided"


def test_batches_are_called_alike_for_a_life_in_the_dutys_own_mix():
    of = asked(part(HIDDEN))
    disc = of.components["disc"]
    assert of.unlike(disc, {"mechanical": 0.05, "oxidative": 0.95}) is None
    assert "b1 over b2 0.77" in of.unlike(disc, {"mechanical": 1.0, "oxidative": 0.0})
    assert "no target" in asked(part(HIDDEN), None).unlike(disc, {"mechanical": 0.05, "oxidative": 0.95})
    one = {"b1": HIDDEN["b1"], "b2": HIDDEN["b2"][:1]}
    assert "cannot be told" in asked(part(one)).unlike(asked(part(one)).components["disc"], {"oxidative": 1.0})


def test_pads_are_asked_for_too():
    both = {"b1": [(1.0, 1.0), (1.02, 1.0)], "b2": [(1.3, 1.0), (1.33, 1.0)]}
    pad = part(both)
    for row in pad["by_specimen"]:
        row["factors"].pop("oxidative")
        row["correlation"] = None
    pad["part_shares"] = {"mechanical": 1.0}
    (rows,) = asked(pad, name="pad_inner").rows(PAIRS)
    assert [(row.component, row.part, row.verdict) for row in rows] == [("pad_inner", "mechanical", "different")]


def test_false_equivalence_of_a_part_stays_under_five_percent():
    """Truth at the margin's edge: the two one-sided tests pass in no more than 5 %."""
    rng = np.random.default_rng(4)
    passed = 0
    for _ in range(300):
        factors = {
            b: [(f * np.exp(rng.normal(0, 0.04)), 1.0) for _ in range(2)] for b, f in (("b1", 1.0), ("b2", 1.25))
        }
        passed += answers(asked(part(factors)))["mechanical"].verdict == "equivalent"
    assert passed / 300 <= 0.07


def test_the_comparison_holds_its_answer_for_wear_by_the_parts():
    tests = specimen_tests({"b1": [0.45, 0.451], "b2": [0.45, 0.449]})
    tests = [
        replace(t, wear_rate=WearRate(x, 0.99 * x, 1.01 * x))
        for t, x in zip(tests, (2.0, 2.02, 2.1, 2.12), strict=True)
    ]
    target = Target(compound="c", wear_batch_ratio=MARGIN)
    said = {"shape": None, "at_reference": None, "target": target, "settings": Batches()}
    plain, by_part = (compare(tests, **said, wear_parts=of).pairs[0] for of in (None, asked(part(HIDDEN))))
    assert (plain.wear_verdict, plain.wear) == ("equivalent", [])
    assert by_part.wear_verdict == "undecided" and "disc mechanical" in by_part.wear_why
    assert by_part.wear_ratio == plain.wear_ratio and len(by_part.wear) == 2
