"""Brake cards that differ within a compound, copied recordings, specimens without scatter: no answer that the material did not give."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from pipeline.batches.brakes import Brake, brake_of, differences, usual_brake, words
from pipeline.results.rigs import Copied
from tests.batches.makers import specimen_tests
from tests.batches.test_compare import pair_of, run
from tests.rigs.makers import card_content, card_of

PISTONS = ["28 mm", "36 mm", "36 mm"]


def card(**brake):
    return card_of("t", brake=card_content()["brake"] | brake)


USUAL, ODD = brake_of(card(), "mean"), brake_of(card(pistons_per_side=PISTONS), "mean")
SHARE = USUAL.area / ODD.area


def stated(levels, odd=(), brake=ODD, **more):
    """Tests whose true mu is `levels`; those named in `odd` are reduced with another brake's card."""
    tests = specimen_tests(levels, scatter=0.002, **more)
    made = []
    for test in tests:
        own = brake if test.test in odd else USUAL
        factor = USUAL.clamp(40e5) / own.clamp(40e5)
        stops = test.stops.with_columns(pl.col("mu", "mu_bite") * factor)
        made.append(replace(test, stops=stops, brake=own))
    return made


ALIKE = {"b1": [0.420, 0.426, 0.423], "b2": [0.421, 0.424, 0.420]}
APART = {"b1": [0.420, 0.426, 0.423], "b2": [0.341, 0.344, 0.340]}


@pytest.mark.parametrize("size", [0.1, 0.06])
@pytest.mark.parametrize("odd", [("b2-A", "b2-B", "b2-C"), ("b2-A", "b2-B")])
def test_a_difference_that_the_cards_can_make_is_undecided(size, odd):
    brake = replace(ODD, area=USUAL.area * (1 + size), shown=ODD.shown)
    pair = pair_of(run(stated(ALIKE, odd, brake)), "b1", "b2")
    assert pair.mu_verdict != "different" and pair.bite_verdict != "different"
    assert "pistons per side" in pair.caveat and all(name in pair.caveat for name in odd)
    if size == 0.1 and len(odd) == 3:
        assert pair.mu_verdict == "undecided"
        assert "the cards differ in pistons per side" in pair.mu_why and "28/36/36 mm" in pair.mu_why
        with_usual = pair.mu_difference_with_usual_brake.value
        assert with_usual == pytest.approx(0.423 - 0.4217, abs=0.003)
        assert pair.mu_difference.value > 0.03


def test_a_difference_beyond_what_the_cards_can_make_stands():
    odd = ("b2-A", "b2-B", "b2-C")
    pair = pair_of(run(stated(APART, odd)), "b1", "b2")
    assert SHARE > 1.03 and pair.mu_verdict == "different" and "pistons per side" in pair.caveat


def test_an_equivalence_that_the_cards_may_have_made_is_undecided():
    brake = replace(ODD, area=USUAL.area * 0.9)
    levels = {"b1": [0.420, 0.426, 0.423], "b2": [0.380, 0.384, 0.381]}
    pair = pair_of(run(stated(levels, ("b2-A", "b2-B", "b2-C"), brake)), "b1", "b2")
    assert pair.mu_verdict == "undecided" and "which card is right" in pair.mu_why


def test_like_cards_add_nothing():
    result = run(stated(ALIKE))
    pair = pair_of(result, "b1", "b2")
    assert pair.mu_verdict == "equivalent" and pair.caveat is None
    assert not [note for note in result.notes if "cards" in note]


def test_other_batches_keep_their_answers():
    levels = ALIKE | {"b3": [0.360, 0.362, 0.361]}
    result = run(stated(levels, ("b2-A", "b2-B", "b2-C"), replace(ODD, area=USUAL.area * 1.1)))
    assert pair_of(result, "b1", "b3").mu_verdict == "different"
    assert pair_of(result, "b1", "b3").caveat is None


FIELDS = {
    "effective_radius": {"effective_radius": "130 mm"}, "efficiency": {"efficiency": 0.9}, "pads": {"pads": 4},
    "threshold_pressure": {"threshold_pressure": "0.4 bar"}, "pad_area": {"pad_area": "50 cm^2"},
    "disc mass": {"disc": {"mass": "1.9 kg"}}, "friction_ring": {"friction_ring": {"outer_diameter": "310 mm", "inner_diameter": "220 mm"}},
}  # fmt: skip


@pytest.mark.parametrize("field", FIELDS)
def test_every_field_that_enters_a_number_is_named_with_its_tests(field):
    tests = {"a": USUAL, "b": USUAL, "c": brake_of(card(**FIELDS[field]), "mean")}
    found = {item.field: item for item in differences(tests)}
    assert field in found
    assert [one.tests for one in found[field].values] == [["a", "b"], ["c"]]
    assert found[field].enters and "(c)" in words(list(found.values()))


def test_the_usual_brake_is_the_one_that_most_cards_state():
    factor = usual_brake({"a": USUAL, "b": USUAL, "c": replace(USUAL, threshold=1e5)})
    assert factor("a", 40e5) == 1.0
    assert factor("c", 20e5) == pytest.approx(19 / 20)
    assert factor("unknown", 20e5) == 1.0
    assert isinstance(USUAL, Brake)


def test_one_test_under_two_batches_decides_nothing():
    tests = stated(ALIKE | {"b3": [0.360, 0.362, 0.361]})
    apart = {"batch": ["b3", "b2"]}
    copied = Copied(test="b3-X", of="b2-A", stops=6, share=1.0, whole=True, cards_differ_in=apart)
    result = run(tests, copied=[copied])
    pair = pair_of(result, "b1", "b3")
    assert pair.mu_verdict == pair_of(result, "b2", "b3").mu_verdict == "undecided"
    assert "b3-X and b2-A hold the same recordings" in pair.mu_why
    assert "b3-X and b2-A hold the same recordings" in pair_of(result, "b1", "b2").caveat


@pytest.mark.parametrize("stops", [1, 6])
def test_no_interval_has_zero_width(stops):
    """Specimens equal to the last digit, as copies are, tell no scatter."""
    result = run(specimen_tests({"b1": [0.42, 0.42], "b2": [0.36, 0.36]}, stops=stops))
    pair = result.pairs[0]
    assert pair.mu_verdict == "undecided" and "no scatter" in pair.mu_why
    shown = [pair.mu_difference, *(batch.mu for batch in result.batches)]
    assert all(one.low is None and one.high is None and one.why for one in shown)
    assert np.isfinite(pair.mu_difference.value)
