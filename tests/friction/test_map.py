"""The friction map on stops of a known law."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipeline.friction.bands import curve
from pipeline.friction.comparison import best_map, map_of_form
from pipeline.friction.diagnostics import diagnostics, leverage, standardised
from pipeline.friction.freedom import neighbours
from pipeline.friction.history import unchanged
from pipeline.friction.map import FrictionMap, NoMap, fit_map
from pipeline.friction.sensitivity import sensitivities
from pipeline.friction.surfaces import surfaces
from pipeline.method.friction import Friction
from tests.friction.makers import E0, P0, W0, Law, one_test, program
from tests.makers import stops_frame

SETTINGS, LAW, ZERO_C = Friction(), Law(), 273.15
REFERENCE = {"pressure": P0 * 1e5, "speed": W0 * np.pi / 30, "energy_density": E0 * 1e6}


@pytest.fixture(scope="module")
def stops() -> pl.DataFrame:
    return one_test(LAW, np.random.default_rng(3))


@pytest.fixture(scope="module")
def map_(stops: pl.DataFrame) -> FrictionMap:
    return fit_map(stops, SETTINGS)


def test_follows_flank_and_plateau(map_: FrictionMap) -> None:
    t = np.array([60.0, 100, 140, 170, 200, 250, 300, 400, 500, 600])
    found = map_.predict(t + ZERO_C, **REFERENCE)
    assert found.supported.all()
    assert (np.abs(found.mu - LAW.mu(t)) < 3.5 * found.se).all()
    assert np.abs(found.mu - LAW.mu(t)).max() < 0.012
    assert (found.se[[6, 7]] < 0.006).all() and (found.se > 0).all()


def test_predicts_effects_away_from_the_reference(map_: FrictionMap) -> None:
    at = map_.predict(350 + ZERO_C, 15e5, 1000 * np.pi / 30, 23e6)
    assert at.mu[0] == pytest.approx(float(LAW.mu(np.array(350.0), 15.0, 1000.0, 23.0)), abs=3 * at.se[0])


def test_no_value_outside_the_data(map_: FrictionMap, stops: pl.DataFrame) -> None:
    t = stops["temperature_initial_c"].to_numpy()
    outside = np.array([-40, t.min() - 0.5, t.max() + 0.5, 2000, np.nan]) + ZERO_C
    found = map_.predict(outside, **REFERENCE)
    assert not found.supported.any() and np.isnan(found.mu).all() and np.isnan(found.se).all()
    for condition, value in (("pressure", 120e5), ("speed", 400.0), ("energy_density", 90e6), ("pressure", np.nan)):
        assert not map_.predict(600.0, **(REFERENCE | {condition: value})).supported.any(), condition


def test_no_value_inside_a_gap() -> None:
    rng = np.random.default_rng(4)
    plan = program(rng).filter(~pl.col("temperature").is_between(215, 395))
    gapped = fit_map(one_test(LAW, rng, plan=plan), SETTINGS)
    inside = gapped.predict(np.array([250.0, 300.0, 350.0]) + ZERO_C)
    assert not inside.supported.any() and np.isnan(inside.mu).all()
    assert gapped.predict(np.array([190.0, 420.0]) + ZERO_C, **REFERENCE).supported.all()
    found = curve(gapped, confidence=0.95, coverage=0.9, common=0.0)
    assert set(found.stretch) == {0, 1}
    t = found.temperature - ZERO_C
    assert not ((t > 220) & (t < 390)).any()
    for surface in surfaces(gapped):
        if surface.x == "temperature_c":
            x = np.array(surface.x_values)
            blank = [[v is None for v in np.array(row, object)[(x > 225) & (x < 385)]] for row in surface.mu]
            assert np.array(blank).all()


def test_order_of_rows_changes_nothing(stops: pl.DataFrame, map_: FrictionMap) -> None:
    shuffled = fit_map(stops.sample(fraction=1.0, shuffle=True, seed=1), SETTINGS)
    t = np.array([100.0, 170.0, 400.0]) + ZERO_C
    assert np.allclose(shuffled.predict(t).mu, map_.predict(t).mu, rtol=1e-12)


def test_scaling_mu_scales_the_map(stops: pl.DataFrame, map_: FrictionMap) -> None:
    doubled = fit_map(stops.with_columns(mu=2 * pl.col("mu"), mu_u_stop=2 * pl.col("mu_u_stop")), SETTINGS)
    t = np.array([100.0, 170.0, 400.0]) + ZERO_C
    assert np.allclose(doubled.predict(t).mu, 2 * map_.predict(t).mu, rtol=1e-5)


def test_stray_stops_are_held_back(stops: pl.DataFrame, map_: FrictionMap) -> None:
    gone = [10, 40, 41, 75]
    stray = stops.with_columns(mu=pl.when(pl.col("stop").is_in(gone)).then(0.08).otherwise(pl.col("mu")))
    robust = fit_map(stray, SETTINGS)
    t = np.array([100.0, 200.0, 300.0, 400.0, 550.0]) + ZERO_C
    clean, held = map_.predict(t), robust.predict(t)
    assert (np.abs(held.mu - clean.mu) < 2.5 * clean.se).all()
    table = diagnostics(robust).stops
    assert all(row.held_back for row in table if row.stop in gone)


def test_rejected_suspect_and_empty_stops_are_left_out(stops: pl.DataFrame) -> None:
    spoilt = stops.with_columns(
        status=pl.when(pl.col("stop") < 5).then(pl.lit("rejected")).when(pl.col("stop") < 9).then(pl.lit("suspect")).otherwise(pl.col("status")),
        mu=pl.when(pl.col("stop") < 5).then(None).otherwise(pl.col("mu")),
        temperature_initial_c=pl.when(pl.col("stop") == 20).then(None).otherwise(pl.col("temperature_initial_c")),
    )  # fmt: skip
    assert fit_map(spoilt, SETTINGS).stops["stop"].min() == 9
    assert 20 not in fit_map(spoilt, SETTINGS).stops["stop"].to_list()
    assert fit_map(spoilt, Friction(use_suspect=True)).stops["stop"].min() == 5


def test_too_few_stops_say_so(stops: pl.DataFrame) -> None:
    with pytest.raises(NoMap, match="3 usable stops"):
        fit_map(stops.head(3), SETTINGS)
    with pytest.raises(NoMap, match="span"):
        fit_map(stops.filter(pl.col("purpose") == "check"), SETTINGS)
    with pytest.raises(NoMap, match="0 usable"):
        fit_map(stops.clear(), SETTINGS)


def test_slopes_are_the_laws(map_: FrictionMap) -> None:
    found = sensitivities(map_, neighbours(map_.fit), confidence=0.95, common=0.005, between=(553.0, 853.0))
    mu0 = float(LAW.mu(np.array(300.0)))
    true = {
        "pressure_per_10bar": LAW.pressure * mu0 * 10 / P0,
        "speed_per_100rpm": LAW.speed * mu0 * 100 / W0,
        "energy_per_j_mm2": LAW.energy * mu0,
        "temperature_per_100c": float(LAW.mu(np.array(579.85)) - LAW.mu(np.array(279.85))) / 3.0,
    }
    for key, value in true.items():
        slope = getattr(found, key)
        half = (slope.high - slope.low) / 2
        assert slope.low < slope.value < slope.high
        assert abs(slope.value - value) < 1.6 * half, key
        assert half < 0.01, key


def tied_stops(rng: np.random.Generator) -> pl.DataFrame:
    """Stops to rest at one inertia: energy density is the speed's square."""
    plan = program(rng).with_columns(speed=pl.when(pl.col("block") == "energy line").then(W0 * (pl.col("energy") / E0) ** 0.5).otherwise(pl.col("speed")))  # fmt: skip
    plan = plan.with_columns(energy=E0 * (pl.col("speed") / W0) ** 2)
    return one_test(LAW, rng, plan=plan)


def test_effects_that_move_together_are_not_told_apart() -> None:
    map_ = fit_map(tied_stops(np.random.default_rng(6)), SETTINGS)
    assert map_.choice.tied == (("energy", "speed"),)
    found = sensitivities(map_, neighbours(map_.fit), confidence=0.95, common=0.0, between=None)
    for key in ("speed_per_100rpm", "energy_per_j_mm2"):
        assert getattr(found, key).value is None and "moved together" in getattr(found, key).why
    joint = found.joint[0]
    assert joint.effects == ["energy", "speed"] and joint.per == "j_mm2"
    h = 0.5  # both moved along the design's line
    ends = [float(LAW.mu(np.array(300.0), P0, W0 * ((E0 + way * h) / E0) ** 0.5, E0 + way * h)) for way in (1, -1)]
    assert joint.low < (ends[0] - ends[1]) / (2 * h) < joint.high
    assert found.pressure_per_10bar.value is not None
    off_the_line = map_.predict(600.0, P0 * 1e5, W0 * 0.7 * np.pi / 30, E0 * 1.5e6)
    assert not off_the_line.supported.any()


def test_condition_that_was_not_varied(stops: pl.DataFrame) -> None:
    still = fit_map(stops.with_columns(pressure_bar=40.0 + 0.1 * (pl.col("stop") % 3)), SETTINGS)
    assert "pressure" not in still.choice.kept and "not varied" in still.choice.dropped["pressure"]
    found = sensitivities(still, neighbours(still.fit), confidence=0.95, common=0.0, between=None)
    assert found.pressure_per_10bar.value is None and found.speed_per_100rpm.value is not None


def test_forms_are_compared() -> None:
    """Scatter and effects that add, over a threefold range of mu, are found to add; those that multiply,
    to multiply.
    """
    rng = np.random.default_rng(9)
    plan = pl.concat([program(rng), program(rng)])
    t, p = plan["temperature"].to_numpy(), plan["pressure"].to_numpy()
    level = LAW.mu(t)
    stops = one_test(LAW, rng, plan=plan)
    adds = stops.with_columns(mu=pl.Series(level - 0.04 * np.log(p / P0) + rng.normal(0, 0.004, t.size)))
    multiplies = stops.with_columns(
        mu=pl.Series(level * (1 - 0.12 * np.log(p / P0)) * (1 + rng.normal(0, 0.01, t.size)))
    )
    added = best_map(adds, SETTINGS, temperature="initial")
    assert added.map.link == "identity"
    compared = best_map(multiplies, SETTINGS, temperature="initial")
    for own, found in ((adds, added), (multiplies, compared)):  # who knows which form was chosen has the same map
        again = map_of_form(own, SETTINGS, temperature="initial", table=found.table)
        assert np.array_equal(again.fit.theta, found.map.fit.theta) and again.link == found.map.link
    assert compared.map.link == "log"
    assert sum(row.kept for row in compared.table) == 1
    worth = {row.form: row for row in compared.table}
    assert worth["without pressure"].cv_rms > 1.3 * compared.table[0].cv_rms


def test_influence_and_residuals(map_: FrictionMap) -> None:
    h, r = leverage(map_), standardised(map_)
    assert ((h > 0) & (h < 1)).all()
    assert h.sum() == pytest.approx(map_.fit.effective_parameters, rel=1e-6)
    assert 0.7 < r.std() < 1.2
    found = diagnostics(map_)
    assert len(found.stops) == len(map_.stops)
    assert found.most_influential[0].influence == max(row.influence for row in found.stops)


def test_scatter_is_larger_on_the_flank_of_a_jittering_thermocouple() -> None:
    rng = np.random.default_rng(11)
    stops = one_test(LAW, rng)
    true = stops["temperature_initial_c"].to_numpy()
    jitter = stops.with_columns(temperature_initial_c=pl.Series(true + rng.normal(0, 5, len(true))))
    sd = fit_map(jitter, SETTINGS).scatter(np.array([170.0, 350.0]) + ZERO_C) / LAW.mu(np.array([170.0, 350.0]))
    still = fit_map(stops, SETTINGS).scatter(np.array([170.0, 350.0]) + ZERO_C) / LAW.mu(np.array([170.0, 350.0]))
    assert sd[0] > 2 * sd[1] and sd[0] > 2 * still[0]


def test_blocks_changed_by_duty_are_left_out(stops: pl.DataFrame) -> None:
    n = len(stops)
    duty = one_test(LAW, np.random.default_rng(1), plan=program(np.random.default_rng(1)).head(30)).with_columns(
        stop=pl.col("stop") + n, purpose=pl.lit("duty"), block=pl.lit("low-energy duty")
    )
    checks = stops.filter(pl.col("block") == "check 1").with_columns(stop=pl.col("stop") + n + 30)
    glazed = checks.with_columns(mu=0.85 * pl.col("mu"), block=pl.lit("after duty"))
    healthy = checks.with_columns(stop=pl.col("stop") + 10, block=pl.lit("after recovery"))
    kept, left_out = unchanged(pl.concat([stops, duty, glazed, healthy]), SETTINGS, "initial")
    assert [block.block for block in left_out] == ["after duty"]
    assert left_out[0].shift == pytest.approx(-0.15, abs=0.04)
    assert set(kept["block"]) >= {"after recovery", "low-energy duty"} and "after duty" not in set(kept["block"])
    assert unchanged(stops, SETTINGS, "initial")[1] == []


@pytest.mark.parametrize("column", ["pressure_bar", "speed_start_rpm", "energy_density_j_mm2"])
def test_condition_that_was_not_recorded(stops: pl.DataFrame, column: str) -> None:
    """Tables of old tests may lack a condition: the map does without it."""
    without = fit_map(stops.with_columns(pl.lit(None, pl.Float64).alias(column)), SETTINGS)
    assert len(without.missing) == 1 and "was not recorded" in without.choice.dropped[without.missing[0]]
    t = np.array([100.0, 300.0, 500.0])
    found = without.predict(t + ZERO_C)
    assert np.abs(found.mu - LAW.mu(t)).max() < 0.02
    assert best_map(without.stops, SETTINGS, temperature="initial").map.missing == without.missing
    assert len(surfaces(without)) <= 1


def test_a_long_test_is_still_quick() -> None:
    import time

    rng = np.random.default_rng(1)
    plan = pl.concat([program(rng) for _ in range(20)])
    started = time.process_time()
    fit_map(one_test(LAW, rng, plan=plan), SETTINGS)
    assert time.process_time() - started < 20


def test_green_checks_are_left_out(stops: pl.DataFrame) -> None:
    green = stops.filter(pl.col("block") == "check 1").with_columns(mu=0.7 * pl.col("mu"), block=pl.lit("green check"))
    bedding = green.with_columns(stop=pl.col("stop") + 6, purpose=pl.lit("bedding"), block=pl.lit("bed-in"))
    table = pl.concat([green, bedding, stops.with_columns(stop=pl.col("stop") + 12)])
    assert fit_map(table, SETTINGS).stops["stop"].min() == 13
    _, left_out = unchanged(table, SETTINGS, "initial")
    assert [block.why for block in left_out] == ["green check was run before bedding"]
    two = pl.concat([table.with_columns(test=pl.lit("a")), stops.with_columns(test=pl.lit("b"))])
    used = fit_map(two, SETTINGS).stops
    assert (
        used.filter(pl.col("test") == "a")["stop"].min() == 13 and used.filter(pl.col("test") == "b")["stop"].min() == 1
    )


def test_few_cold_stops_on_the_flank_are_no_strays() -> None:
    """Two stops a temperature on the flank and many on the plateau: the cold ones agree with one another."""
    rng = np.random.default_rng(8)
    law = Law(scatter=0.015)
    t = np.r_[np.repeat([60.0, 100.0, 140.0, 180.0, 220.0], 2), np.repeat([260.0, 300.0, 400.0, 500.0], 8)]
    t = t + rng.normal(0, 0.5, t.size)
    mu = law.mu(t) * np.exp(rng.normal(0, law.scatter, t.size))
    stops = stops_frame(
        t.size, purpose="map", block="map", mu=mu, temperature_initial_c=t, pressure_bar=P0, speed_start_rpm=W0,
        energy_density_j_mm2=E0,
    )  # fmt: skip
    found = fit_map(stops, SETTINGS)
    cold = found.predict(t[:4] + ZERO_C, **REFERENCE)
    assert cold.mu == pytest.approx(law.mu(t[:4]), rel=0.05)


def test_a_stray_shows_in_the_residuals(stops: pl.DataFrame) -> None:
    """The residual is the stop's as measured, not as held back."""
    odd = stops.with_columns(mu=pl.when(pl.col("stop") == 60).then(1.3 * pl.col("mu")).otherwise("mu"))
    (row,) = [r for r in diagnostics(fit_map(odd, SETTINGS)).stops if r.stop == 60]
    assert row.held_back and row.standardised > 5
