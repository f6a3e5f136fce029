"""Stops unlike those run alike beside them."""

import numpy as np
import polars as pl
import pytest

from pipeline.conditioning.faults.unlike import unlike_stops
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
