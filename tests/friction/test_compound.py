"""A compound over its specimens and batches."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from pipeline.friction import sides
from pipeline.friction.bands import curve
from pipeline.friction.compound import StopsOfTest, common_of, of_compound
from pipeline.friction.map import fit_map
from pipeline.friction.wanted import Wanted
from pipeline.method import Method
from pipeline.method.friction import Friction
from pipeline.results.compound_friction import CompoundFriction, OneTest
from pipeline.results.friction_history import Fade, Recovery
from tests.friction.makers import Law, compound

WANTED = Wanted((0.36, 0.60), (553.0, 853.0))


def as_tests(stops: pl.DataFrame, rig: str = "north") -> list[StopsOfTest]:
    return [
        StopsOfTest(
            part["test"][0], part["batch"][0], part["specimen"][0], part.drop("test", "batch", "specimen"), rig, 0.006
        )
        for part in stops.partition_by("test", maintain_order=True)
    ]


@pytest.fixture(scope="module")
def found() -> CompoundFriction:
    rng = np.random.default_rng(3)
    law = Law(hot=0.48)
    return of_compound(as_tests(compound(law, rng, batches=2, specimens=2, batch_sd=0.02)), Method(), WANTED)


def test_keys_and_no_nan(found: CompoundFriction) -> None:
    json.dumps(found.model_dump(by_alias=True), allow_nan=False)
    assert found.stops_used == 4 * 113
    assert {(s.batch, s.specimen) for s in found.specimens} == {(f"b{i}", f"s{j}") for i in range(2) for j in range(2)}
    assert found.between.specimen_sd > 0 and found.between.batch_sd > 0


def test_curve_lies_inside_its_bands(found: CompoundFriction) -> None:
    assert len(found.curve) > 10
    for point in found.curve:
        assert point.tolerance_low < point.low < point.mu < point.high < point.tolerance_high


def test_two_specimens_that_differ_widen_the_band() -> None:
    """Pooled, stops of two specimens that differ pass for repeats of one: the band must not be so narrow."""
    rng = np.random.default_rng(5)
    law = Law(scatter=0.015)
    differ = compound(law, rng, specimen_sd=0.0)
    differ = differ.with_columns(mu=pl.col("mu") * pl.when(pl.col("specimen") == "s0").then(0.97).otherwise(1.03))
    alike = compound(law, rng, specimen_sd=0.0)
    half = {}
    for name, table in (("differ", differ), ("alike", alike), ("pooled", differ.drop("batch", "specimen"))):
        found = curve(fit_map(table, Friction()), confidence=0.95, coverage=0.9, common=0.0)
        middle = np.abs(found.temperature - 623).argmin()
        half[name] = float((found.high - found.low)[middle] / 2 / found.mu[middle])
    assert half["differ"] > 3 * half["pooled"]
    assert half["differ"] > 0.05 > 0.03 > half["pooled"]
    assert half["differ"] > 2 * half["alike"]


def test_single_specimen_says_what_it_cannot_know() -> None:
    stops = compound(Law(), np.random.default_rng(1), specimens=1)
    found = of_compound(as_tests(stops), Method(), WANTED)
    assert found.between.specimen_sd is None and "single specimen" in found.between.specimen_why


def test_drifted_stops_are_left_out() -> None:
    stops = compound(Law(), np.random.default_rng(1), specimens=2)
    tests = as_tests(stops)
    early = [StopsOfTest(t.test, t.batch, t.specimen, t.stops, t.rig, t.common, changed_at=61) for t in tests]
    assert of_compound(early, Method(), WANTED).stops_used == 2 * 60


def test_stops_left_out_for_glazing_are_no_pass_of_the_low_energy_side() -> None:
    """What drift takes out of the map is gone from the blocks too: the verdict has to be told of it."""
    tests = as_tests(compound(Law(), np.random.default_rng(1), specimens=2))
    sound = of_compound(tests, Method(), WANTED).sides.low_energy
    assert "friction unchanged by duty" not in [q.question for q in sound.questions]
    (asked,) = [
        q for q in sound.questions if q.question == "mu at the low energies run"
    ]  # by a low quantile, not by the lowest
    assert "one map stop in twenty has less" in asked.text
    for verdict, answer in (("glazing-like", "no"), ("undetermined", "not shown")):
        some = [replace(tests[0], changed_at=100, changed_by=verdict), *tests[1:]]
        low = of_compound(some, Method(), WANTED).sides.low_energy
        (asked,) = [q for q in low.questions if q.question == "friction unchanged by duty"]
        assert asked.answer == answer and tests[0].test in asked.text and low.answer != "yes"


def test_the_lowest_friction_in_any_fade_decides() -> None:
    """The test of the lowest index need not be that of the lowest friction."""
    strong = Fade(block="fade", stop=1, index=0.80, mu_min=0.40, temperature_c=450.0)
    weak = Fade(block="fade", stop=2, index=0.90, mu_min=0.33, temperature_c=440.0)
    found = CompoundFriction(
        compound="m",
        window_reason="none",
        fade=strong,
        recovery=Recovery(index=0.99),
        tests=[
            OneTest(test="a", batch="b", specimen="s", fade=strong, recovery=Recovery(index=0.99)),
            OneTest(test="b", batch="b", specimen="t", fade=weak, recovery=Recovery(index=0.93)),
            OneTest(test="c", batch="b", specimen="u"),
        ],
    )
    answers = {q.question: q.answer for q in sides.high_energy(found, (0.36, 0.60), 853.0).questions}
    assert answers["mu in the fade"] == "no" and answers["recovery"] == "no"


@pytest.mark.parametrize(
    ("index", "ends", "recovered", "fade", "recovery"),
    [
        (0.80, (0.77, 0.83), (0.97, 1.01), "yes", "yes"),  # 0.385 to 0.415 in 0.36 to 0.60
        (0.80, (0.70, 0.90), (0.90, 1.08), "not shown", "not shown"),
        (0.80, (None, None), (None, None), "not shown", "not shown"),
    ],
)
def test_fade_and_recovery_are_answered_by_their_intervals(index, ends, recovered, fade, recovery) -> None:
    found = CompoundFriction(
        compound="m", window_reason="none",
        fade=Fade(block="fade", stop=1, index=index, index_low=ends[0], index_high=ends[1], mu_min=0.40, temperature_c=450.0),
        recovery=Recovery(index=0.99, index_low=recovered[0], index_high=recovered[1]),
    )  # fmt: skip
    answers = {q.question: q.answer for q in sides.high_energy(found, (0.36, 0.60), 853.0).questions}
    assert (answers["mu in the fade"], answers["recovery"]) == (fade, recovery)


def test_a_low_specimen_is_not_odd_after_every_pause() -> None:
    stops = compound(Law(scatter=0.005), np.random.default_rng(4), specimens=2, specimen_sd=0.0)
    low = stops.with_columns(mu=pl.col("mu") * pl.when(pl.col("specimen") == "s0").then(0.92).otherwise(1.0))
    paused = low.with_columns(idle_before_s=pl.when(pl.col("stop") == 60).then(18000.0).otherwise(60.0))
    tests = of_compound(as_tests(paused), Method(), WANTED).tests
    assert len(tests) == 2
    for one in tests:
        assert [p.ratio for p in one.pauses] == pytest.approx([1.0], abs=0.03)


def test_calibration_is_common_to_a_rig_only() -> None:
    stops = compound(Law(), np.random.default_rng(1), specimens=2)
    one, other = as_tests(stops), as_tests(stops, rig="south")
    assert common_of(one) == pytest.approx(0.006)
    assert common_of([one[0], other[1]]) == pytest.approx(0.006 / np.sqrt(2))


def test_nothing_to_go_on() -> None:
    found = of_compound([], Method(), WANTED)
    assert found.window is None and found.window_reason == "no test with stops" and found.curve == []
    empty = compound(Law(), np.random.default_rng(1)).head(0)
    assert of_compound([StopsOfTest("t", "b", "s", empty)], Method(), WANTED).stops_used == 0


def test_each_batch_has_its_own_curve(found: CompoundFriction) -> None:
    """The pooled curve lies between those of the two batches, each of which has its own level."""
    first, second = ({round(p.temperature_c): p for p in batch.curve} for batch in found.by_batch)
    pooled = {round(p.temperature_c): p for p in found.curve}
    shared = [t for t in pooled if t in first and t in second and 250 <= t <= 500]
    assert len(shared) > 3
    for t in shared:
        low, high = sorted((first[t].mu, second[t].mu))
        assert low - 0.005 < pooled[t].mu < high + 0.005
        assert first[t].low < first[t].mu < first[t].high
    assert abs(np.mean([first[t].mu - second[t].mu for t in shared])) > 0.002
