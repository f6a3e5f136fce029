"""The batch comparison: the three answers, their reasons, what is adjusted, left out and widened."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import NormalDist

import numpy as np
import polars as pl
import pytest
from pydantic import ValidationError

from pipeline.archive.targets import Target
from pipeline.batches import compare, equivalence
from pipeline.batches.caveats import state_scatter
from pipeline.batches.specimens import WearRate, bite_values, friction_values, reference_stops, wear_values
from pipeline.method.batches import Batches
from pipeline.results.charts import Wander
from pipeline.results.precision import Component
from pipeline.results.rigs import Examined, Step
from tests.batches.makers import specimen_tests
from tests.makers import stops_frame

TARGET = Target(compound="Marram 4", mu_batch_margin=0.03, wear_batch_ratio=(0.8, 1.25))


def run(tests, target=TARGET, **more):
    return compare.compare(tests, shape=None, at_reference=None, target=target, settings=Batches(), **more)


def pair_of(result, a, b):
    return next(p for p in result.pairs if {p.a, p.b} == {a, b})


def test_like_and_unlike_batches():
    result = run(specimen_tests({"b1": [0.420, 0.426], "b2": [0.421, 0.424], "b3": [0.370, 0.366]}))
    assert [b.batch for b in result.batches] == ["b1", "b2", "b3"]
    assert [b.specimens for b in result.batches] == [2, 2, 2]
    like, unlike = pair_of(result, "b1", "b2"), pair_of(result, "b1", "b3")
    assert like.mu_verdict == "equivalent"
    assert unlike.mu_verdict == "different"
    assert unlike.mu_difference.value == pytest.approx(0.423 - 0.368)
    assert unlike.mu_difference.df == 3


def test_interval_is_the_closed_form_with_pooled_specimen_scatter():
    from scipy import stats

    result = run(specimen_tests({"b1": [0.420, 0.428], "b2": [0.421, 0.425], "b3": [0.370, 0.380]}))
    sd = np.sqrt((0.008**2 + 0.004**2 + 0.010**2) / 2 / 3)
    half = stats.t.ppf(0.975, 3) * sd
    shown = pair_of(result, "b1", "b2").mu_difference
    assert (shown.low, shown.high) == (pytest.approx(0.001 - half), pytest.approx(0.001 + half))
    assert result.specimen_scatter["mu"].value == pytest.approx(sd)


def test_undecided_says_why_and_how_many_specimens_would_decide():
    pair = run(specimen_tests({"b1": [0.40, 0.43], "b2": [0.42, 0.44]})).pairs[0]
    assert pair.mu_verdict == "undecided"
    assert "reaches beyond the margin" in pair.mu_why
    plan = pair.mu_power
    assert plan.if_none.specimens_each > 2
    assert plan.if_none.more["b1"] == plan.if_none.specimens_each - 2


@pytest.mark.parametrize("stops", [3, 300])
def test_stops_are_not_replicates(stops):
    few = run(specimen_tests({"b1": [0.40, 0.43], "b2": [0.42, 0.44]}, stops=stops)).pairs[0]
    assert few.mu_verdict == "undecided"
    assert few.mu_difference.df == 2


def test_one_specimen_is_always_undecided():
    result = run(specimen_tests({"b1": [0.30], "b2": [0.420, 0.421], "b3": [0.422, 0.4215]}))
    pair = pair_of(result, "b1", "b2")
    assert (pair.mu_verdict, pair.bite_verdict, pair.wear_verdict) == ("undecided",) * 3
    assert "b1: one specimen cannot" in pair.mu_why
    assert pair.mu_difference.low is not None  # borrowed scatter, said so at the batch
    assert "borrows" in result.batches[0].mu.why
    assert pair_of(result, "b2", "b3").mu_verdict == "equivalent"


def test_two_batches_of_one_specimen_have_no_interval():
    result = run(specimen_tests({"b1": [0.30], "b2": [0.42]}))
    shown = result.pairs[0].mu_difference
    assert (shown.low, shown.high) == (None, None)
    assert "unknown" in shown.why
    assert result.batches[0].mu.low is None


def test_no_target_no_verdict():
    pair = run(specimen_tests({"b1": [0.300, 0.301], "b2": [0.420, 0.421]}), target=None).pairs[0]
    assert pair.mu_verdict == "undecided"
    assert "margin" in pair.mu_why
    assert pair.mu_difference.high < 0


def test_a_significant_difference_inside_the_margin_is_not_different():
    pair = run(specimen_tests({"b1": [0.4200, 0.4201], "b2": [0.4300, 0.4301]})).pairs[0]
    assert pair.mu_p < 0.001
    assert pair.mu_verdict == "equivalent"


def test_holm_over_several_pairs_decides_different():
    levels = {f"b{k}": [0.42, 0.44] for k in range(1, 5)} | {"b5": [0.385, 0.399]}
    alone = run(specimen_tests({k: levels[k] for k in ("b1", "b5")}))
    many = run(specimen_tests(levels))
    both = pair_of(many, "b1", "b5")
    p, p_holm = both.mu_p, both.mu_p_holm
    assert p_holm > p
    assert pair_of(alone, "b1", "b5").mu_p_holm == pair_of(alone, "b1", "b5").mu_p


def test_adjustment_to_the_reference_conditions():
    tests = specimen_tests({"b1": [0.42, 0.42], "b2": [0.42, 0.42]})
    # b2 was checked 60 K warmer on a map that climbs 0.05 per 100 K: its raw mu is 0.03 higher
    warm = [
        replace(t, stops=t.stops.with_columns(mu=pl.col("mu") + 0.03, temperature_initial_c=pl.lit(360.0)))
        if t.batch == "b2"
        else t
        for t in tests
    ]

    def shape(stops):
        return 0.42 + 0.0005 * (stops["temperature_initial_c"].to_numpy() - 300.0)

    raw, adjusted = friction_values(warm, None, None), friction_values(warm, shape, 0.42)
    assert raw.values == pytest.approx([0.42, 0.42, 0.45, 0.45])
    assert adjusted.values == pytest.approx([0.42] * 4)
    assert any("as they ran" in note for note in raw.left_out)


def test_stops_outside_the_map_are_left_out_and_said():
    def shape(stops):
        return np.where(np.arange(len(stops)) < 2, np.nan, 0.42)

    values = friction_values(specimen_tests({"b1": [0.42, 0.43]}), shape, 0.42)
    assert values.counts == (4, 4)
    assert any("outside the map" in note for note in values.left_out)


def test_stops_after_a_glazing_onset_do_not_count():
    test = specimen_tests({"b1": [0.42]}, stops=10)[0]
    fallen = test.stops.with_columns(mu=pl.when(pl.col("stop") >= 6).then(0.35).otherwise(0.42))
    glazed = replace(test, stops=fallen, drift_verdict="glazing-like", drift_onset=6)
    assert friction_values([glazed], None, None).values == pytest.approx([0.42])
    bedded = replace(glazed, drift_verdict="fade")
    assert friction_values([bedded], None, None).counts[0] > 5


def test_a_gross_stop_does_not_move_its_specimen():
    test = specimen_tests({"b1": [0.42]}, stops=12, scatter=0.003, seed=2)[0]
    odd = test.stops.with_columns(mu=pl.when(pl.col("stop") == 3).then(0.9).otherwise(pl.col("mu")))
    values = friction_values([replace(test, stops=odd)], None, None)
    assert values.values[0] == pytest.approx(0.42, abs=0.003)
    assert any("standard deviations off" in note for note in values.left_out)


def test_suspect_and_rejected_stops_do_not_count_and_the_map_serves_without_checks():
    test = specimen_tests({"b1": [0.42]}, stops=4)[0]
    mixed_status = test.stops.with_columns(
        status=pl.Series(["ok", "suspect", "rejected", "ok"]),
        purpose=pl.Series(["map", "check", "check", "map"]),
    )
    used = reference_stops(replace(test, stops=mixed_status))
    assert used["stop"].to_list() == [1, 4]


def bite_test(name, batch, temperatures, bites, pressures=40.0):
    frame = stops_frame(
        len(temperatures),
        temperature_initial_c=np.array(temperatures, float),
        mu_bite=np.array(bites, float),
        pressure_bar=pressures,
    )
    return replace(specimen_tests({batch: [0.42]})[0], test=name, specimen=name, stops=frame)


def test_bite_at_the_coldest_conditions_all_batches_have():
    one = bite_test("t1", "b1", [60, 62, 61, 110, 300], [0.10, 0.10, 0.10, 0.15, 0.42])
    two = bite_test("t2", "b2", [108, 112, 111, 300], [0.16, 0.16, 0.16, 0.43])
    values = bite_values([one, two])
    assert values.conditions.temperature_c == pytest.approx(110.25, abs=1)
    assert values.values == pytest.approx([0.15, 0.16], abs=1e-6)


def test_bite_is_compared_within_cells_of_pressure():
    # bite falls with pressure; b2 ran more low-pressure stops, which must not look like a better bite
    one = bite_test("t1", "b1", [60, 60, 60], [0.12, 0.10, 0.10], np.array([20.0, 60.0, 60.0]))
    two = bite_test("t2", "b2", [60, 60, 60], [0.12, 0.12, 0.10], np.array([20.0, 20.0, 60.0]))
    values = bite_values([one, two])
    assert values.values[0] - values.values[1] == pytest.approx(0.0, abs=1e-9)


def test_wear_ratio_on_the_log_scale():
    tests = specimen_tests({"b1": [0.42, 0.42], "b2": [0.42, 0.42]})
    um = [0.400, 0.408, 0.800, 0.816]
    worn = [replace(t, wear_rate=WearRate(x, 0.97 * x, 1.03 * x)) for t, x in zip(tests, um, strict=True)]
    pair = run(worn).pairs[0]
    assert pair.wear_ratio.value == pytest.approx(0.5)
    assert pair.wear_verdict == "different"
    assert pair.wear_ratio.low * pair.wear_ratio.high == pytest.approx(0.25)


@pytest.mark.parametrize("confidence", [0.68, 0.95, 0.99])
def test_a_wear_rates_variance_is_the_same_at_any_confidence(confidence):
    test, half = specimen_tests({"b1": [0.42]})[0], 0.05 * NormalDist().inv_cdf((1 + confidence) / 2)
    rate = WearRate(2.0, 2.0 * math.exp(-half), 2.0 * math.exp(half), confidence=confidence)
    assert wear_values([replace(test, wear_rate=rate)]).variances == pytest.approx([0.05**2])


def test_negative_wear_has_no_ratio_and_another_program_is_said():
    test = specimen_tests({"b1": [0.42]})[0]
    values = wear_values([replace(test, wear_rate=WearRate(-0.01, -0.05, 0.03))])
    assert values.specimens == ()
    assert "not above zero" in values.left_out[0]
    assert "x 1.84" in wear_values([replace(test, wear_rate=WearRate(2.0, 1.9, 2.1, 1.84))]).left_out[0]


def test_common_calibration_cancels_on_one_rig_and_counts_across_rigs():
    levels = {"b1": [0.420, 0.424], "b2": [0.421, 0.425]}
    one = run(specimen_tests(levels, epoch="north 0", common_u=0.02))
    two_rigs = [
        replace(t, epoch="south 0" if t.batch == "b2" else "north 0", rig="south" if t.batch == "b2" else "north")
        for t in specimen_tests(levels, common_u=0.02)
    ]
    two = run(two_rigs)
    width = [p.pairs[0].mu_difference.high - p.pairs[0].mu_difference.low for p in (one, two)]
    assert width[1] > 1.5 * width[0]
    assert "cancels" in one.notes[1]
    assert "different rigs" in two.pairs[0].caveat
    assert one.pairs[0].caveat is None
    level = one.batches[0].mu  # a level is absolute: the calibration stays in it
    assert level.high - level.low > 2 * 1.9 * 0.02 * 0.42


def test_a_calibration_draws_the_sensors_anew_and_leaves_the_brake():
    levels = {"b1": [0.420, 0.424], "b2": [0.421, 0.425]}

    def half(**facts):
        states = {"b1": "north, before all events", "b2": "north, from 2026-02-01"}
        tests = [replace(t, rig="north", epoch=states[t.batch]) for t in specimen_tests(levels, **facts)]
        shown = run(tests).pairs[0].mu_difference
        return shown.high - shown.low

    none, brake_only = half(), half(common_u=0.02, sensor_u=0.0)
    sensors = half(common_u=0.02, sensor_u=0.02)
    assert brake_only == pytest.approx(none)
    apart = [replace(t, rig="north", epoch=t.batch) for t in specimen_tests(levels)]
    assert any("b1 and b2 were run in different states" in note for note in run(apart).notes)
    assert not any("different states" in note for note in run(specimen_tests(levels)).notes)
    assert sensors > 1.3 * none


def test_rig_shift_is_a_caveat_and_keeps_a_pair_from_being_called_different():
    levels = {"b1": [0.420, 0.421], "b2": [0.470, 0.471]}
    none, moved = Step(found=False, why="not looked for"), Step(found=True, step=0.104)
    shift = Examined(
        rig="north", date="2026-01-20", events=[], shift_relative=0.11, friction=moved, energy_ratio=none,
        before=["b1-A", "b1-B"], tests=["b2-A", "b2-B"],
    )  # fmt: skip
    plain, touched = run(specimen_tests(levels)), run(specimen_tests(levels), shifts=[shift])
    assert plain.pairs[0].mu_verdict == "different"
    assert touched.pairs[0].mu_verdict == "undecided"
    assert "rig north shifted by +11.0 %" in touched.pairs[0].caveat


def test_a_rig_that_wandered_is_a_caveat_and_keeps_a_pair_from_being_called_different():
    tests = specimen_tests({"b1": [0.420, 0.421], "b2": [0.470, 0.471]})
    wander = Wander(
        rig="north", quantity="mu", subject="Datum", onset="b2-A", onset_date="2026-01-20", earliest_date="2026-01-20",
        alarm="b2-B", alarm_date="2026-01-27", shift=0.1, shift_relative=0.11, tests=["b2-A", "b2-B"], text="friction left it",
    )  # fmt: skip
    torque = wander.model_copy(update={"quantity": "energy_ratio"})
    found = run(tests, wanders=[wander, torque]).pairs[0]
    assert (run(tests).pairs[0].mu_verdict, found.mu_verdict) == ("different", "undecided")
    assert "rig_wanders: friction left it; it touches 0 % of the tests of b1 and 100 % of b2" in found.caveat
    once = run(tests, wanders=[wander]).pairs[0].mu_difference
    assert found.mu_difference.high == pytest.approx(once.high)  # one move seen on two charts counts once
    worn = wander.model_copy(update={"quantity": "wear"})
    assert run(tests, wanders=[worn]).pairs[0].mu_verdict == "different"


def test_an_undetected_step_of_the_rig_widens_a_pair_that_ran_apart_and_no_other():
    tests = specimen_tests({"b1": [0.420, 0.421, 0.422], "b2": [0.424, 0.425, 0.426]})
    apart = [replace(t, epoch=f"north, {t.batch}", sensor_u=0.001, common_u=0.001) for t in tests]
    states = {"mu": state_scatter(Component(why="one state"))}
    assert states["mu"] == pytest.approx(0.007)
    assert state_scatter(Component(value=0.02, df=200)) == pytest.approx(0.02, rel=0.02)
    plain, widened = run(apart).pairs[0], run(apart, state_sd=states).pairs[0]
    assert widened.mu_difference.high - widened.mu_difference.low > 2 * (
        plain.mu_difference.high - plain.mu_difference.low
    )
    assert "+-2.0 %" in widened.caveat
    assert plain.caveat is None
    together = [run(tests, **how).pairs[0] for how in ({}, {"state_sd": states})]
    assert together[0].mu_difference == together[1].mu_difference
    assert together[1].caveat is None


def test_a_torque_chain_that_differs_is_a_caveat():
    tests = [
        replace(t, stops=t.stops.with_columns(energy_ratio=pl.lit(1.04 if t.batch == "b2" else 1.0)))
        for t in specimen_tests({"b1": [0.42, 0.42], "b2": [0.44, 0.44]})
    ]
    assert "energy balance 1.000 and 1.040" in run(tests).pairs[0].caveat


def test_order_of_tests_does_not_matter():
    tests = specimen_tests({"b1": [0.40, 0.43], "b2": [0.42, 0.44], "b10": [0.41, 0.45]}, scatter=0.004)
    forward, backward = run(tests), run(tests[::-1])
    assert [p.a + p.b for p in forward.pairs] == [p.a + p.b for p in backward.pairs]
    for one, two in zip(forward.pairs, backward.pairs, strict=True):
        assert one.mu_difference.low == pytest.approx(two.mu_difference.low)


def test_nothing_usable_is_null_with_a_reason():
    tests = [
        replace(t, stops=t.stops.with_columns(status=pl.lit("rejected")))
        for t in specimen_tests({"b1": [0.4], "b2": [0.4]})
    ]
    result = run(tests)
    assert result.pairs[0].mu_difference.value is None
    assert result.pairs[0].mu_verdict == "undecided"
    assert result.batches[0].mu.why


def test_wear_of_unlike_programs_without_an_identified_law_is_undecided():
    levels = {"b1": [0.42, 0.42], "b2": [0.42, 0.42]}
    why = "no wear law is identified: a is loose"
    worn = [
        replace(t, wear_rate=WearRate(x, 0.97 * x, 1.03 * x, 1.0, why), energy_per_stop_kj=energy)
        for t, x, energy in zip(specimen_tests(levels), [0.400, 0.408, 0.800, 0.816], [200, 200, 300, 300], strict=True)
    ]
    pair = run(worn).pairs[0]
    assert pair.wear_verdict == "undecided"
    assert "energy per stop by 50 %" in pair.wear_why and why in pair.wear_why
    alike = run([replace(t, energy_per_stop_kj=200.0) for t in worn]).pairs[0]
    assert alike.wear_verdict == "different"
    hotter = [
        replace(t, energy_per_stop_kj=200.0, wear_rate=t.wear_rate._replace(expected=0.4 if t.batch == "b1" else 0.8))
        for t in worn
    ]
    assert "wear expected of their stops by 100 %" in run(hotter).pairs[0].wear_why


def bites(levels, target, scatter=0.002):
    """The pair of two batches whose specimens bite at these levels in one cell of cold conditions."""
    rng = np.random.default_rng(4)
    tests = [
        bite_test(f"{batch}-{i}", batch, [60] * 6, level + rng.normal(0, scatter, 6))
        for batch, several in levels.items()
        for i, level in enumerate(several)
    ]
    return run(tests, target)


BITES = {"b1": [0.154, 0.155, 0.153], "b2": [0.137, 0.138, 0.136]}  # 11 % apart
BAND = {"compound": "x", "mu": (0.34, 0.60)}


def test_a_loss_of_a_tenth_of_the_bite_is_not_equivalent_by_the_margin_of_mu():
    """0.03 is 6.4 % of the wanted mu: of a bite of 0.146 that is 0.009, and 0.017 is beyond it."""
    found = bites(BITES, Target(**BAND, mu_batch_margin=0.03))
    assert found.pairs[0].bite_verdict == "different"
    margin = found.margins["bite"]
    assert margin.high == pytest.approx(0.03 / 0.47 * margin.level) and "no bite_margin is stated" in margin.source


@pytest.mark.parametrize(
    ("margin", "verdict"), [(0.03, "equivalent"), ("20 %", "equivalent"), ("8 %", "different"), (0.01, "different")]
)
def test_bite_is_judged_by_its_own_margin(margin, verdict):
    found = bites(BITES, Target(**BAND, mu_batch_margin=0.03, bite_margin=margin))
    assert found.pairs[0].bite_verdict == verdict
    assert found.margins["bite"].source == "bite_margin of the target"


def test_bites_alike_and_far_apart_come_out_the_same_by_any_margin():
    for margin in (None, 0.02, "8 %"):
        target = Target(**BAND, mu_batch_margin=0.03, **({} if margin is None else {"bite_margin": margin}))
        assert (
            bites({"b1": [0.30, 0.301, 0.299], "b2": [0.30, 0.3, 0.301]}, target).pairs[0].bite_verdict == "equivalent"
        )
        assert (
            bites({"b1": [0.30, 0.301, 0.299], "b2": [0.24, 0.24, 0.241]}, target).pairs[0].bite_verdict == "different"
        )


def test_bite_without_any_margin_is_undecided():
    found = bites(BITES, Target(**BAND))
    assert found.pairs[0].bite_verdict == "undecided" and found.margins["bite"] is None


@pytest.mark.parametrize("margin", ["0 %", -0.01, "wide", [0.1], True, "150 %", "8 degC"])
def test_a_bite_margin_that_is_none_is_refused(margin):
    with pytest.raises(ValidationError, match="bite_margin"):
        Target(**BAND, bite_margin=margin)


@pytest.mark.parametrize("df", [2, 3, 4, 8, 30])
@pytest.mark.parametrize("known_u", [0.0, 0.1, 0.3, 1.0, 3.0])
def test_what_is_added_never_narrows_an_interval(df, known_u):
    one = equivalence.Estimate(0.0, 1.0, df)
    other = equivalence.with_known(one, known_u)
    for confidence in (0.90, 0.95):
        assert equivalence.interval(other, confidence)[1] >= equivalence.interval(one, confidence)[1]
