"""Verdicts on invented tests with a known cause, and what is said of them."""

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import settings as sized
from hypothesis import strategies as st

from pipeline.drift.analysis import analyse
from pipeline.drift.compound import glaze_limit
from pipeline.drift.noise import Repeatability
from pipeline.method.drift import Drift
from tests.drift.makers import (
    BEDDING,
    RIDGE,
    VALLEY,
    Block,
    Truth,
    check,
    line,
    long_program,
    made,
    short_program,
    with_readings,
)

NOISE = Repeatability(0.018, 0.25, 0.08, 0.003, 1.2, 200.0)
LONG = with_readings(long_program())


def judged(seed=3, noise=NOISE, settings=None, **truth):
    return analyse(made(Truth(program=truth.pop("program", LONG), **truth), seed).stops, settings or Drift(), noise)


def test_glazing_is_told_in_full():
    d = judged(glaze_loss=0.10)
    assert (d.verdict, d.recovered, d.also) == ("glazing-like", True, [])
    assert d.onset_low <= 69 <= d.onset_high and abs(d.onset_stop - 69) <= 10
    assert d.mu_loss_share == pytest.approx(0.10, abs=0.025)
    assert d.mu_loss_low < d.mu_loss < d.mu_loss_high
    items = d.evidence.items["glazing-like"]
    assert items["energy_ratio"].answer == "steady"
    assert items["growth"].answer == "yes" and items["recovery"].answer == "yes"
    for name in ("energy_ratio", "pressure_rest", "pressure_level", "exposure", "growth", "recovery"):
        assert items[name].threshold is not None, name
    assert "from stop" in d.evidence.words[0]
    grew = d.exposure.grew
    assert grew.power_density_high_w_mm2 < 3 and grew.temperature_high_c < 110
    assert d.exposure.cleared.high_energy_stops == 16
    assert "pressure gain" not in d.evidence.not_excluded


def test_without_recovery_a_pressure_gain_is_not_excluded():
    d = judged(glaze_loss=0.12, program=with_readings(long_program(recovery=False)))
    assert (d.verdict, d.recovered) == ("glazing-like", None)
    assert "pressure gain" in d.evidence.not_excluded
    assert any("high-energy" in advice for advice in d.evidence.record_next)


def test_a_second_pressure_sensor_clears_the_pressure():
    stops = made(Truth(glaze_loss=0.12, program=with_readings(long_program(recovery=False))), 3).stops
    d = analyse(stops.with_columns(pressure_2_bar=pl.col("pressure_bar") * 1.01), Drift(), NOISE)
    assert d.verdict == "glazing-like" and "pressure gain" not in d.evidence.not_excluded


def test_a_second_pressure_sensor_convicts_the_first():
    stops = made(Truth(pressure_ramp=(60, 0.10), program=LONG), 3).stops
    drift = 1 + 0.10 * np.clip((stops["stop"].to_numpy() - 59) / (stops.height - 59), 0, None)
    d = analyse(stops.with_columns(pressure_2_bar=pl.col("pressure_bar") / drift), Drift(), NOISE)
    assert d.verdict == "sensor"


def test_loss_that_hard_use_does_not_clear_is_undetermined():
    d = judged(glaze_loss=0.12, clearing_stops=float("inf"))
    assert (d.verdict, d.recovered) == ("undetermined", False)
    assert {"glazing", "contamination or damage"} <= set(d.evidence.not_excluded)


def test_step_without_exposure_is_undetermined():
    d = judged(surface_step=(58, 0.09), program=short_program())
    assert d.verdict == "undetermined"
    assert d.evidence.record_next


@pytest.mark.parametrize("change", [{"torque_ramp": (80, -0.09)}, {"torque_step": (140, 0.07)}])
def test_torque_chain_is_a_sensor(change):
    d = judged(**change)
    assert d.verdict == "sensor" and "glazing-like" not in d.also
    assert "energy ratio" in d.evidence.words[0]


def test_glazing_under_a_torque_drift_is_said_too():
    d = judged(glaze_loss=0.12, torque_ramp=(60, 0.08))
    assert d.verdict == "sensor" and "glazing-like" in d.also


@pytest.mark.parametrize("change", [{"recorder_ramp": (60, 0.15)}, {"offset_ramp": (60, 3.0)}])
def test_recorded_pressure_that_leaves_schedule_or_rest_is_a_sensor(change):
    assert judged(**change).verdict == "sensor"


def test_pressure_gain_step_is_undetermined():
    d = judged(pressure_step=(150, 0.09))
    assert d.verdict == "undetermined" and "pressure gain" in d.evidence.not_excluded
    assert abs(d.onset_stop - 150) <= 5


def test_missing_energy_ratio_is_undetermined():
    d = judged(glaze_loss=0.12, ratio_missing=True)
    assert d.verdict == "undetermined" and "torque gain" in d.evidence.not_excluded


def test_bedding_moisture_fade():
    damp = [
        BEDDING, check(1, 6), *line((60.0, 100.0, 200.0, 260.0)), check(2), VALLEY._replace(stops=18), check(3),
        VALLEY._replace(name="after a pause", stops=18, pause=5e4), check(4, 6),
    ]  # fmt: skip
    hot = [*short_program()[:-2], RIDGE._replace(initial=300.0, rise=24.0), check(6)]
    assert judged(green=0.10, bedding_stops=20).verdict == "bedding-in"
    moist = judged(soak=0.18, program=damp)
    assert moist.verdict == "moisture" and moist.mu_loss > 0
    assert moist.onset_stop == moist.evidence.items["moisture"]["moisture"][0].stop
    assert judged(hot_loss=0.08, program=hot).verdict == "fade"


def test_torque_controlled_checks_do_not_match_on_pressure():
    """Where the rig holds torque, the pressure rises as friction falls; that is no change of conditions."""
    stops = made(Truth(glaze_loss=0.15, program=LONG), 3).stops
    rises = stops.with_columns(
        control=pl.lit("torque"), pressure_bar=pl.col("pressure_bar") * 0.47 / pl.col("mu").clip(0.38, 0.5)
    )
    assert analyse(rises, Drift(), NOISE).verdict == "glazing-like"


def test_colder_checks_are_not_a_fall():
    cold = [b._replace(initial=160.0) if b.purpose == "check" and int(b.name.split()[1]) > 5 else b for b in LONG]
    assert judged(program=cold).verdict == "none"


def test_nothing_repeated_says_so():
    d = judged(program=[BEDDING, *line((60.0, 100.0, 200.0, 300.0, 400.0), 3)])
    assert d.verdict == "undetermined" and d.mu_loss is None and "matched" in d.evidence.why


def test_single_stray_stop_is_left_out_and_named():
    stops = made(Truth(program=LONG), 5).stops
    wild = stops.with_columns(mu=pl.when(pl.col("stop") == 119).then(pl.col("mu") * 0.6).otherwise(pl.col("mu")))
    d = analyse(wild, Drift(), NOISE)
    assert d.verdict == "none" and 119 in d.evidence.stray_stops


@pytest.mark.parametrize(
    "column", ["pressure_bar", "target_pressure_bar", "speed_start_rpm", "mu", "energy_ratio", "kinetic_energy_kj"]
)
def test_zero_and_negative_values_are_unknown_not_errors(column):
    stops = made(Truth(glaze_loss=0.10, program=LONG), 5).stops
    odd = pl.when(pl.col("stop") % 7 == 0).then(0.0).when(pl.col("stop") % 11 == 0).then(-1.0).otherwise(pl.col(column))
    assert analyse(stops.with_columns(odd.alias(column)), Drift(), NOISE).verdict == "glazing-like"


def test_an_extra_stop_does_not_cut_a_block():
    stops = made(Truth(glaze_loss=0.10, program=LONG), 5).stops
    extra = stops.with_columns(
        pl.when(pl.col("stop") == 92).then(pl.lit(None, pl.String)).otherwise(pl.col(c)).alias(c)
        for c in ("block", "purpose")
    )
    d = analyse(extra, Drift(), NOISE)
    assert d.verdict == "glazing-like" and 92 not in d.charts.residual.stop


def test_limit_of_low_energy_use():
    drifts = {f"t{i}": judged(seed=i, glaze_loss=0.12) for i in range(2)}
    limit = glaze_limit(drifts)
    assert limit.tests == ["t0", "t1"]
    assert limit.power_density_high_w_mm2 is None and limit.power_density_high_why
    assert (
        limit.text.startswith("glazed at ") and "where it ends is not known" in limit.text and "under" not in limit.text
    )
    assert 1.3 < limit.power_density_w_mm2 < 2.2 and 85 < limit.temperature_c < 105
    assert limit.stops.low < limit.stops.value < limit.stops.high
    harder = VALLEY._replace(name="harder use", stops=60, speed=(1200.0, 700.0), pressure=26.0, initial=110.0)
    harmless = [BEDDING, check(1, 6), *line((60.0, 100.0, 200.0, 300.0)), check(2, 6), harder, check(3, 6), check(4, 6)]
    drifts |= {f"h{i}": judged(seed=20 + i, program=harmless) for i in range(4)}
    bounded = glaze_limit(drifts)
    assert bounded.harmless_stretches == 4
    assert bounded.power_density_low_w_mm2 < bounded.power_density_w_mm2 < bounded.power_density_high_w_mm2 < 6
    assert bounded.text.startswith("friction falls when power density stays under ")
    assert glaze_limit({"h0": drifts["h0"]}).power_density_w_mm2 is None


def test_scaling_all_friction_changes_nothing_but_the_level():
    stops = made(Truth(glaze_loss=0.10, program=LONG), 7).stops
    one = analyse(stops, Drift(), NOISE)
    two = analyse(stops.with_columns(pl.col("mu") * 0.8), Drift(), NOISE)
    assert (one.verdict, one.onset_stop) == (two.verdict, two.onset_stop)
    assert two.mu_loss == pytest.approx(0.8 * one.mu_loss, rel=1e-6)


_COLUMNS = (
    "energy_ratio", "pressure_rest_bar", "idle_before_s", "power_density_w_mm2", "temperature_mean_c", "temperature_initial_c",
    "target_pressure_bar", "pressure_plateau_bar", "control", "pressure_bar", "speed_start_rpm", "mu_rise", "kind", "mu",
)  # fmt: skip


@given(
    st.integers(0, 50), st.lists(st.sampled_from(_COLUMNS), max_size=5, unique=True), st.integers(0, 240),
    st.integers(0, 260), st.sampled_from(["ok", "suspect", "rejected"]),
)  # fmt: skip
@sized(deadline=None, max_examples=40)
def test_any_table_gets_a_verdict(seed, missing, start, length, status):
    """Columns missing, stops missing, whole stretches suspect or rejected: a verdict with its reason, no error."""
    stops = made(Truth(glaze_loss=0.10 * (seed % 2), program=LONG), seed).stops.slice(start, length)
    stops = stops.with_columns(pl.lit(None, stops[c].dtype).alias(c) for c in missing)
    stops = stops.with_columns(status=pl.when(pl.col("stop") % 3 == 0).then(pl.lit(status)).otherwise("status"))
    d = analyse(stops, Drift(), NOISE)
    assert d.verdict in ("none", "glazing-like", "fade", "bedding-in", "sensor", "moisture", "undetermined")
    assert (d.onset_stop is None) == (
        d.verdict == "none" or (d.evidence.matched_stops is not None and d.charts is None)
    )
    assert d.evidence.why


def regained(stops, block, share):
    """The same stops, friction back up by `share` after the block."""
    last = stops.filter(pl.col("block") == block)["stop"].max()
    return stops.with_columns(
        mu=pl.when(pl.col("stop") > last).then(pl.col("mu") / (1 - share)).otherwise(pl.col("mu"))
    )


def test_use_that_is_only_hotter_can_clear_too():
    hot = Block("hot use", "duty", 16, (1450.0, 850.0), 28.0, 420.0)
    stops = made(
        Truth(glaze_loss=0.10, program=[*long_program(recovery=False), hot, check(10, 6), check(11, 6)]), 1
    ).stops
    d = analyse(regained(stops, "hot use", 0.10), Drift(), NOISE)
    assert (d.verdict, d.recovered) == ("glazing-like", True)
    assert d.mu_loss_share == pytest.approx(0.10, abs=0.03)
    assert d.exposure.cleared.from_stop == stops.filter(pl.col("block") == "hot use")["stop"].min()


def test_a_loss_that_comes_back_by_itself_is_no_glaze():
    gentle = VALLEY._replace(name="last use", stops=10)
    stops = made(
        Truth(glaze_loss=0.10, program=[*long_program(recovery=False), gentle, check(10, 6), check(11, 6)]), 1
    ).stops
    d = analyse(regained(stops, "last use", 0.10), Drift(), NOISE)
    assert (d.verdict, d.recovered) == ("undetermined", None)
    assert "without high-energy use" in d.evidence.why


def test_a_second_hard_block_can_finish_what_the_first_began():
    d = judged(glaze_loss=0.14, clearing_stops=25.0)
    assert d.verdict == "glazing-like"
    assert d.exposure.cleared.high_energy_stops > 16
