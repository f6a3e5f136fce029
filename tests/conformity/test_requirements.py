"""Requirements of a target for each batch and the compound: worst first, by the rule, never for one specimen."""

from __future__ import annotations

import pytest
from scipy import special

from pipeline.archive.targets import Target
from pipeline.conformity.batches import TestOfBatch
from pipeline.conformity.of_compound import of_compound
from pipeline.results.batches import CompoundBatches
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.duty import CompoundDuty
from pipeline.results.model import Interval
from pipeline.results.wear import CompoundWear, MapAndDuty, TestComponent, TestWear
from tests.wear.makers import fitted_law

ZERO = 273.15


def point(temperature, mu, *, scatter=0.01, half=0.01, factor=2.2, inside="yes"):
    return {
        "temperature_c": temperature, "mu": mu, "low": mu - half, "high": mu + half,
        "tolerance_low": mu - factor * scatter, "tolerance_high": mu + factor * scatter, "stretch": 0, "stops_near": 9,
        "thin": False, "u_curve": half / 2, "u_common": 0.0, "scatter": scatter, "dof_mean": 9.0, "dof_scatter": 30.0,
        "tolerance_factor": factor, "inside_wanted": inside,
    }  # fmt: skip


def curve(mu, **more):
    return [point(t, mu, **more) for t in (200.0, 300.0, 400.0, 500.0, 600.0)]


def holds(answer):
    return {"answer": answer, "from_c": 280.0, "to_c": 580.0, "why": f"said {answer}"}


def batches(mus, specimens=2, verdict="equivalent"):
    rows = [
        {"batch": n, "tests": [n], "specimens": specimens, "mu": {"value": m, "low": m - 0.01, "high": m + 0.01},
         "bite": {"value": 0.15}, "wear_um_per_stop": {"value": 2.0}}
        for n, m in mus.items()
    ]  # fmt: skip
    names = list(mus)
    pairs = [
        {"a": a, "b": b, "mu_difference": {"value": mus[a] - mus[b], "low": mus[a] - mus[b] - 0.01, "high": mus[a] - mus[b] + 0.01},
         "mu_verdict": verdict, "bite_difference": {"value": 0.0}, "bite_verdict": "undecided", "wear_ratio": {"value": 1.0}, "wear_verdict": verdict}
        for i, a in enumerate(names) for b in names[i + 1 :]
    ]  # fmt: skip
    margins = {"mu": {"low": -0.03, "high": 0.03, "source": "target"}}
    return CompoundBatches.model_validate({"compound": "c", "batches": rows, "pairs": pairs, "margins": margins})


def friction(by_batch, pooled="yes"):
    rows = [
        {"batch": name, "holds": holds(answer), "curve": curve(mu, inside=answer)}
        for name, (mu, answer) in by_batch.items()
    ]
    mean = sum(mu for mu, _ in by_batch.values()) / len(by_batch)
    one = {"by_batch": rows if len(rows) > 1 else []}
    return CompoundFriction.model_validate({"compound": "c", "holds": holds(pooled), "curve": curve(mean), **one})


def wear_test(batch, specimen, value, half=0.02):
    found = Interval(value=value, low=value - half, high=value + half)
    component = TestComponent(map_and_duty=MapAndDuty(um_per_stop_per_face=found, stops=90))
    return TestOfBatch(f"{batch}-{specimen}", batch, specimen, TestWear(test="t", components={"disc": component}))


def asked(target, *, found=None, of=None, tests=(), duty=None, wear=None, lives=None, confidence=None):
    return of_compound(
        Target(compound="c", **target), None, compound="c", friction=found or CompoundFriction(compound="c"),
        wear=wear or CompoundWear(compound="c"), batches=of or batches({"b1": 0.45, "b2": 0.45}),
        duty=duty or CompoundDuty(compound="c"), tests=list(tests), coverage=0.9, lives=lives or {}, confidence=confidence,
    )  # fmt: skip


WINDOW = {"temperature_window": ("280 degC", "580 degC"), "mu": (0.38, 0.56)}


def requirement(result, key):
    return next(one for one in result.requirements if one.key == key)


@pytest.mark.parametrize("confidence", [0.68, 0.99])
def test_a_methods_confidence_makes_no_requirement_met(confidence):
    """Wear, life and mean friction of one uncertainty: the probability of conformity is the same at every confidence of their intervals."""
    wide = special.ndtri((1 + confidence) / 2) / special.ndtri(0.975)
    of = batches({"b1": 0.45, "b2": 0.45}, verdict="different")
    seen = []
    for scale, sure in ((1.0, {}), (wide, dict.fromkeys(("friction", "wear", "duty"), confidence))):
        life = life_of(1000.0, {"b1": 1.0, "b2": 0.95}, 950.0, of=of, half=0.1 * scale, confidence=sure)
        rows = [
            {"batch": n, "holds": holds("not shown"), "curve": curve(0.40, half=0.02 * scale)} for n in ("b1", "b2")
        ]
        made = CompoundFriction.model_validate({"compound": "c", "holds": holds("not shown"), "by_batch": rows})
        tests = [wear_test(b, "s", 1.0, half=0.05 * scale) for b in ("b1", "b2")]
        wear = {"disc": {"by_batch": [], "map_and_duty": None}}
        told = asked(WINDOW | {"disc_wear": "1.04 um"}, found=made, of=of, tests=tests, confidence=sure,
                     wear=CompoundWear.model_validate({"compound": "c", "components": wear}))  # fmt: skip
        seen.append({key: [one.conformity for one in requirement(result, key).each]
                     for result, key in ((life, "life"), (told, "mu"), (told, "disc_wear"))})  # fmt: skip
    for key, found in seen[0].items():
        assert found == pytest.approx(seen[1][key], abs=1e-6), key
        assert all(0.6 < one < 0.98 for one in found), key


def test_what_friction_calls_shown_at_less_is_not_met_at_more():
    """A tolerance band that was drawn at 80 % and lies inside shows 80 %, not what the guard band asks for."""
    found, of = friction({"b1": (0.47, "yes")}), batches({"b1": 0.47})
    close = CompoundFriction.model_validate(
        {"compound": "c", "holds": holds("yes"), "curve": curve(0.47, scatter=0.039, inside="yes")}
    )
    assert requirement(asked(WINDOW, found=found, of=of), "window").answer.verdict == "met"
    assert requirement(asked(WINDOW, found=close, of=of), "window").answer.verdict == "met"
    one = requirement(asked(WINDOW, found=close, of=of, confidence={"friction": 0.8}), "window").answer
    assert one.verdict == "undecided" and 0.8 <= one.conformity < 0.95


def test_the_worst_batch_answers_where_batches_differ():
    found = friction({"b1": (0.47, "yes"), "b2": (0.385, "no")})
    of = batches({"b1": 0.47, "b2": 0.385}, verdict="different")
    one = requirement(asked(WINDOW, found=found, of=of), "window")
    assert (one.answer.of, one.answer.verdict) == ("b2", "not met")
    assert [row.of for row in one.each] == ["b2", "b1"] and one.each[1].verdict == "met"
    assert one.answer.figure.value == pytest.approx(0.385)


def test_of_batches_that_surely_meet_it_the_one_nearest_to_a_limit_comes_first():
    """All probabilities are 1 to the last digit: the order is by standard deviations to the nearer limit."""
    found = friction({"b1": (0.47, "yes"), "b2": (0.44, "yes"), "b3": (0.50, "yes")})
    of = batches({"b1": 0.47, "b2": 0.44, "b3": 0.50}, verdict="different")
    for key in ("mu", "window"):
        one = requirement(asked(WINDOW | {"mu": (0.30, 0.60)}, found=found, of=of), key)
        assert {row.verdict for row in one.each} == {"met"}
        assert [row.of for row in one.each] == ["b3", "b1", "b2"]


def test_of_batches_that_surely_wear_and_last_as_asked_the_one_nearest_to_the_limit_comes_first():
    """One of wide interval far off and one of narrow interval near by: both sure, whatever their names."""
    tests = [wear_test("b1", "s", 1.0), wear_test("b2", "s", 1.2)]
    of = batches({"b1": 0.47, "b2": 0.47}, verdict="different")
    wear = requirement(asked({"disc_wear": "2 um"}, tests=tests, of=of), "disc_wear")
    life = requirement(life_of(1000.0, {"b1": 0.5, "b2": 0.8}, 900.0), "life")
    for one in (wear, life):
        assert [round(row.conformity, 6) for row in one.each] == [1.0, 1.0]
        assert (one.answer.of, [row.of for row in one.each]) == ("b2", ["b2", "b1"])


def test_batches_shown_alike_are_answered_together():
    found = friction({"b1": (0.47, "yes"), "b2": (0.46, "not shown")})
    one = requirement(asked(WINDOW, found=found), "window")
    assert (one.answer.of, one.answer.verdict) == ("c", "met")
    assert one.each[0].of == "b2" and one.each[0].verdict == "undecided"


def test_the_answer_of_the_friction_stage_bounds_the_probability():
    for answer, low, high in (("yes", 0.95, 1.0), ("no", 0.0, 0.05), ("not shown", 0.05, 0.95)):
        one = requirement(
            asked(WINDOW, found=friction({"b1": (0.40, answer)}, answer), of=batches({"b1": 0.4})), "window"
        )
        assert low <= one.answer.conformity <= high


def test_the_mean_is_held_against_the_band_at_the_worst_temperature():
    found = friction({"b1": (0.383, "no")}, "no")
    guarded = requirement(asked(WINDOW, found=found, of=batches({"b1": 0.383})), "mu")
    shared = requirement(asked(WINDOW | {"decision": "shared_risk"}, found=found, of=batches({"b1": 0.383})), "mu")
    assert (guarded.answer.verdict, shared.answer.verdict) == ("undecided", "met")
    assert guarded.answer.conformity == shared.answer.conformity == pytest.approx(0.722, abs=0.002)


def test_a_curve_that_does_not_reach_is_undecided_by_any_rule():
    for rule in ("guard_band", "shared_risk"):
        wanted = WINDOW | {"temperature_window": ("280 degC", "700 degC"), "decision": rule}
        one = requirement(
            asked(wanted, found=friction({"b1": (0.45, "not shown")}, "not shown"), of=batches({"b1": 0.4})), "mu"
        )
        assert one.answer.verdict == "undecided" and "does not reach" in one.answer.why


def test_one_specimen_speaks_for_no_batch():
    for rule in ("guard_band", "shared_risk"):
        found = friction({"b1": (0.47, "yes")})
        result = asked(WINDOW | {"decision": rule}, found=found, of=batches({"b1": 0.47}, specimens=1))
        for one in result.requirements:
            assert one.answer.verdict == "undecided"
            assert "that specimen alone: met" in one.answer.why


LIMIT = {"disc_wear": "1.3 um"}


def test_disc_wear_is_answered_by_batch():
    tests = [
        wear_test(b, s, v) for b, s, v in (("b1", "A", 1.0), ("b1", "B", 1.02), ("b2", "A", 1.5), ("b2", "B", 1.53))
    ]
    one = requirement(asked(LIMIT, tests=tests, of=batches({"b1": 0.45, "b2": 0.45}, verdict="different")), "disc_wear")
    assert [(row.of, row.verdict) for row in one.each] == [("b2", "not met"), ("b1", "met")]
    assert one.answer.of == "b2" and one.high == pytest.approx(1.3)
    assert one.answer.figure.low < 1.515 < one.answer.figure.high


def by_batch(factors, per_stop=1.2):
    """A disc whose batches wear by these factors of the compound's law."""
    law = fitted_law({"model": "energy", "parameters": {"a": {"value": 7.0}}}).model_dump()
    rows = []
    for name, f in factors.items():
        rate = {"value": per_stop * f, "low": per_stop * f * 0.95, "high": per_stop * f * 1.05}
        rows.append({"batch": name, "specimens": 2, "tests": [name], "law": law, "factors": {"mechanical": {"value": f, "low": 0.93 * f, "high": 1.07 * f}},
                     "map_and_duty": {"um_per_stop_per_face": rate, "stops": 90}})  # fmt: skip
    whole = {"um_per_stop_per_face": {"value": per_stop, "low": 0.9 * per_stop, "high": 1.1 * per_stop}, "stops": 90}
    return CompoundWear.model_validate(
        {"compound": "c", "components": {"disc": {"by_batch": rows, "map_and_duty": whole}}}
    )


def test_disc_wear_of_a_batch_is_that_of_the_common_program_by_its_own_law():
    tests = [wear_test(b, s, 9.0) for b in ("b1", "b2") for s in "AB"]  # programs of their own, not compared
    wear = by_batch({"b1": 0.9, "b2": 1.3})
    for verdict in ("different", "equivalent"):
        of = batches({"b1": 0.45, "b2": 0.45}, verdict=verdict)
        one = requirement(asked(LIMIT, tests=tests, of=of, wear=wear), "disc_wear")
        assert {row.of: round(row.figure.value, 3) for row in one.each} == {"b2": 1.56, "b1": 1.08}
        assert (one.answer.of, one.answer.verdict) == ("b2", "not met")


def life_of(km, factors, wanted, extrapolated=(), of=None, tested=None, half=0.1, not_parted=(), confidence=None):
    def life(f):
        return {"value": km / f, "low": (1 - half) * km / f, "high": (1 + half) * km / f}

    rows = [{"batch": b, "specimens": 2, "life_cycles": life(f), "life_km": life(f), "not_parted": list(not_parted)} for b, f in factors.items()]  # fmt: skip
    worst = life(max(factors.values()))
    duty = {"support": None if tested is None else {"friction_share": 0.0, "wear_share": {"disc": tested}}, "life_limited_by": "disc", "extrapolated": list(extrapolated), "duty": "hill", "opening": 0.5,
            "life_cycles": worst, "life_km": worst, "by_batch": rows if len(rows) > 1 else []}  # fmt: skip
    return asked(
        {}, of=of, lives={"hill": wanted}, duty=CompoundDuty.model_validate({"compound": "c", "duties": [duty]}),
        confidence=confidence,
    )  # fmt: skip


def of_rows(rows, support, limited="disc"):
    """The life on a duty of batches with their own support: (batch, um factor, share tested)."""

    def life(f):
        return {"value": 1000.0 / f, "low": 990.0 / f, "high": 1010.0 / f}

    by = [
        {"batch": b, "specimens": 2, "life_cycles": life(f), "life_km": life(f), "life_limited_by": limited, "wear_share": {"disc": tested},
         "extrapolations": [{"of": "wear of the disc", "direction": "temperature", "unit": "°C", "words": f"{b} was never so hot"}] if tested < 1 else []}
        for b, f, tested in rows
    ]  # fmt: skip
    duty = {"duty": "hill", "opening": 0.5, "life_cycles": life(rows[0][1]), "life_km": life(rows[0][1]), "by_batch": by, "life_limited_by": limited,
            "support": {"friction_share": 1.0, "wear_share": {"disc": support}, "extrapolations": [
                {"of": "wear of the disc", "direction": "temperature", "unit": "°C", "words": "the worst batch's words"},
                {"of": "cooling", "direction": "air speed", "unit": "m/s", "words": "air at any speed"}]}}  # fmt: skip
    return requirement(
        asked({}, lives={"hill": 900.0}, duty=CompoundDuty.model_validate({"compound": "c", "duties": [duty]})), "life"
    )


@pytest.mark.parametrize("worst", [1.0, 0.1])
def test_a_batchs_life_rests_on_its_own_readings(worst):
    """What the worst batch's readings cover says nothing of another's, neither for nor against it."""
    one = of_rows([("b1", 1.0, worst), ("b2", 0.9, 1.1 - worst)], worst)
    told = {row.of: row for row in one.each}
    assert told["b1"].tested == pytest.approx(worst) and told["b2"].tested == pytest.approx(1.1 - worst)
    poor, good = ("b1", "b2") if worst < 0.5 else ("b2", "b1")
    assert (told[poor].verdict, told[good].verdict) == ("undecided", "met")
    assert f"{poor} was never so hot" in told[poor].why and "never so hot" not in told[good].why
    assert all("air at any speed" in row.why and "worst batch's words" not in row.why for row in one.each)


def test_life_goes_by_the_worst_batch():
    one = requirement(life_of(1000.0, {"b1": 0.9, "b2": 1.2}, 900.0), "life")
    assert (one.answer.of, one.answer.verdict) == ("b2", "undecided")
    assert one.answer.figure.value == pytest.approx(1000 / 1.2)
    assert one.each[1].figure.value == pytest.approx(1000 / 0.9) and one.each[1].verdict == "met"
    assert requirement(life_of(1000.0, {"b1": 0.9, "b2": 2.0}, 900.0), "life").answer.verdict == "not met"


def test_a_life_on_wear_beyond_what_the_rig_has_shown_says_so():
    beyond = "wear of the disc: energy down to 0.03 MJ a stop, the wear readings begin at 0.07"
    one = requirement(life_of(1000.0, {"b1": 0.5, "b2": 0.6}, 900.0, extrapolated=[beyond]), "life")
    assert one.answer.verdict == "met" and all(beyond in row.why for row in one.each)
    within = requirement(life_of(1000.0, {"b1": 0.5, "b2": 0.6}, 900.0), "life")
    assert "beyond what the rig" not in within.answer.why and within.answer.conformity == one.answer.conformity


@pytest.mark.parametrize(
    ("tested", "met", "short"),
    [(0.0, "undecided", "not met"), (0.49, "undecided", "not met"), (0.51, "met", "not met"), (1.0, "met", "not met")],
)
def test_a_life_that_mostly_rests_on_what_was_not_tested_is_not_met(tested, met, short):
    """A failure stays one: that is the careful side."""
    enough = requirement(life_of(1000.0, {"b1": 0.5}, 900.0, tested=tested), "life").answer
    assert (enough.verdict, enough.tested) == (met, tested)
    assert ("is extrapolated" in enough.why) == (met == "undecided")
    assert requirement(life_of(1000.0, {"b1": 2.0}, 900.0, tested=tested), "life").answer.verdict == short


@pytest.mark.parametrize(
    ("untested", "verdict"), [((), "met"), ((300.0,), "met"), ((300.0, 400.0, 500.0), "undecided")]
)
def test_a_window_is_not_met_at_temperatures_whose_conditions_were_not_run(untested, verdict):
    found = friction({"b1": (0.47, "yes")})
    points = [p.model_copy(update={"tested": p.temperature_c not in untested}) for p in found.curve]
    found = found.model_copy(update={"curve": points})
    for key in ("window", "mu"):
        one = requirement(asked(WINDOW, found=found, of=batches({"b1": 0.47})), key).answer
        assert one.verdict == verdict and ("no stop was run near" in one.why) == bool(untested)


def test_pairs_follow_the_rule():
    of = batches({"b1": 0.47, "b2": 0.445}, verdict="undecided")
    guarded, shared = (
        requirement(asked({"mu_batch_margin": 0.03, "decision": rule}, of=of), "mu_batch_margin")
        for rule in ("guard_band", "shared_risk")
    )
    assert (guarded.answer.verdict, shared.answer.verdict) == ("undecided", "met")
    assert guarded.answer.conformity == pytest.approx(0.837, abs=0.01)


def test_wear_of_batches_is_told_to_be_that_of_the_program():
    """Where oxidation takes its share, batches whose abrasion differs by 30 % can differ by 13 % in all."""
    plain = batches({"b1": 0.47, "b2": 0.47}).model_dump()
    plain["margins"]["wear"] = {"low": 0.8, "high": 1.25, "source": "target"}
    of = CompoundBatches.model_validate(plain)
    one = requirement(asked({"wear_batch_ratio": [0.8, 1.25]}, of=of), "wear_batch_ratio")
    assert one.answer.verdict == "met" and "another share of oxidation" in one.answer.why
    parts = [{"component": "disc", "part": p, "share": s, "matters": True, "ratio": {"value": v, "low": v - 0.05, "high": v + 0.05}, "verdict": verdict}
             for p, s, v, verdict in (("mechanical", 0.7, 0.7, "different"), ("oxidative", 0.3, 1.0, "equivalent"))]  # fmt: skip
    plain["pairs"][0]["wear"] = parts
    one = requirement(
        asked({"wear_batch_ratio": [0.8, 1.25]}, of=CompoundBatches.model_validate(plain)), "wear_batch_ratio"
    )
    assert (one.answer.of, one.answer.verdict) == ("b1 and b2, disc mechanical", "not met")
    assert len(one.each) == 3 and "another share of oxidation" not in one.each[-1].why


def test_a_life_by_mechanisms_that_were_not_told_apart_says_so():
    one = requirement(life_of(1000.0, {"b1": 0.9, "b2": 1.2}, 900.0, not_parted=["disc"]), "life")
    assert "mechanisms of the disc apart" in one.answer.why
    assert "apart" not in requirement(life_of(1000.0, {"b1": 0.9, "b2": 1.2}, 900.0), "life").answer.why


def test_different_inside_the_doubt_about_the_margin_is_not_called_not_met():
    of = batches({"b1": 0.47, "b2": 0.438}, verdict="different")
    one = requirement(asked({"mu_batch_margin": 0.03}, of=of), "mu_batch_margin")
    assert one.answer.verdict == "undecided" and one.answer.conformity > 0.05


def test_the_safer_rule_is_taken_and_said():
    result = asked(WINDOW, found=friction({"b1": (0.47, "yes")}), of=batches({"b1": 0.47}))
    assert result.decision == "guard_band" and not result.decision_stated
    assert "no rule is stated: the safer one" in result.decision_words
    assert "up to 50 %" in asked(WINDOW | {"decision": "shared_risk"}).decision_words


def test_without_a_target_nothing_is_answered():
    result = of_compound(
        None, None, compound="c", friction=CompoundFriction(compound="c"), wear=CompoundWear(compound="c"),
        batches=batches({"b1": 0.4}), duty=CompoundDuty(compound="c"), tests=[], coverage=0.9, lives={},
    )  # fmt: skip
    assert result.requirements == [] and "no target file" in result.why


def test_the_worst_requirement_stands_first():
    found = friction({"b1": (0.47, "yes"), "b2": (0.385, "no")})
    tests = [wear_test(b, s, 1.0) for b in ("b1", "b2") for s in "AB"]
    result = asked(WINDOW | LIMIT, found=found, of=batches({"b1": 0.47, "b2": 0.385}, verdict="different"), tests=tests)
    ranks = [{"not met": 0, "undecided": 1, "met": 2}[one.answer.verdict] for one in result.requirements]
    assert ranks == sorted(ranks) and ranks[0] == 0


def test_every_batch_stands_beside_the_reference_batch():
    found = friction({"b1": (0.47, "yes"), "b2": (0.44, "yes")})
    of = batches({"b1": 0.47, "b2": 0.44}, verdict="different")
    result = asked({"reference_batch": "b1"} | LIMIT, found=found, of=of)
    (other,) = result.against_reference
    rows = {row.question: row for row in other.rows}
    mu = rows["µ at the reference conditions"]
    assert (other.batch, mu.verdict) == ("b2", "different")
    assert (mu.a.value, mu.b.value) == (0.44, 0.47) and mu.figure.value == pytest.approx(-0.03)
    assert mu.figure.low < mu.figure.value < mu.figure.high
    assert rows["Friction window, lower end"].verdict == "undecided"


def test_a_reference_batch_that_is_not_there_is_told():
    result = asked({"reference_batch": "b9"} | LIMIT, of=batches({"b1": 0.47, "b2": 0.44}))
    assert result.against_reference == [] and "b9" in result.against_reference_why


def test_one_specimen_of_the_reference_answers_nothing():
    found = life_of(1000.0, {"b1": 1.0, "b2": 3.0}, 900.0)
    assert found.against_reference == []
    result = asked(
        {"reference_batch": "b1"} | LIMIT, of=batches({"b1": 0.47, "b2": 0.3}, specimens=1, verdict="undecided")
    )
    assert {row.verdict for row in result.against_reference[0].rows} == {"undecided"}
