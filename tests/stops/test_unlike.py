"""Stops unlike those run alike beside them."""

import numpy as np
import polars as pl
import pytest

from pipeline.stops.faults.unlike import lone_levels, unlike_stops
from tests.makers import stops_frame

N = 48
AT = 21


def like_stops(**columns):
    rng = np.random.default_rng(3)
    base = {
        "block": [f"map {i // 4}" for i in range(N)],
        "mu": 0.42 * np.exp(rng.normal(0, 0.015, N)),
        "pressure_plateau_bar": 40.0 * np.exp(rng.normal(0, 0.006, N)),
    }
    return stops_frame(N, **(base | columns))


def with_factor(frame: pl.DataFrame, column: str, factor: float) -> pl.DataFrame:
    hit = pl.col("stop") == AT
    return frame.with_columns(pl.when(hit).then(pl.col(column) * factor).otherwise(column).alias(column))


def test_like_stops_are_left_alone():
    assert unlike_stops(like_stops()) == []


@pytest.mark.parametrize("factor", [0.8, 1.25])
def test_a_stop_of_another_specimen_is_told(factor):
    found = unlike_stops(with_factor(like_stops(), "mu", factor))
    assert [(f.code, f.stop) for f in found] == [("stop_unlike", AT)]


def test_a_pressure_that_the_torque_contradicts_is_told_of_the_pressure():
    frame = with_factor(with_factor(like_stops(), "mu", 1 / 1.08), "pressure_plateau_bar", 1.08)
    found = unlike_stops(frame)
    assert [(f.code, f.stop, f.channel) for f in found] == [("pressure_off_schedule", AT, "pressure")]


def test_a_rig_that_missed_its_level_once_with_torque_to_match_is_no_fault():
    assert unlike_stops(with_factor(like_stops(), "pressure_plateau_bar", 1.08)) == []


def test_the_first_stop_after_a_pause_may_be_moist():
    frame = with_factor(like_stops(), "mu", 0.75).with_columns(
        idle_before_s=pl.when(pl.col("stop") == AT).then(50_000.0).otherwise("idle_before_s")
    )
    assert [f for f in unlike_stops(frame) if f.stop == AT] == []


def levels(factors) -> list:
    n = len(factors)
    rng = np.random.default_rng(5)
    stops = stops_frame(n, pressure_plateau_bar=40.0 * np.asarray(factors) * (1 + 0.01 * rng.standard_normal(n)))
    schedule = pl.DataFrame({"row": list(range(n)), "wanted_bar": [40.0] * n})
    return lone_levels(stops, schedule)


def test_a_rig_that_holds_its_levels_has_none():
    assert levels(np.ones(20)) == []
    assert levels(np.full(20, 14.5)) == []
    assert levels(np.r_[np.ones(10), np.full(10, 10.0)]) == []


@pytest.mark.parametrize("factor", [0.8, 1.2, 2.0, 10.0])
def test_a_stop_off_its_level_is_named(factor):
    factors = np.ones(20)
    factors[6] = factor
    (one,) = levels(factors)
    assert (one.stop, one.severity, one.channel) == (7, "suspect", "pressure")
    assert one.evidence["ratio_to_test"] == pytest.approx(factor, rel=0.05)


def test_a_rig_with_levels_all_over_the_place_has_none():
    assert levels(np.exp(0.08 * np.random.default_rng(2).standard_normal(40))) == []
