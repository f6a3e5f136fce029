"""What the map would say with the stops excluded by hand is told; without such stops nothing is fitted twice."""

import numpy as np
import polars as pl
import pytest

from pipeline.friction.by_hand import with_excluded
from pipeline.friction.stage import mapped, wanted_of
from pipeline.method import Method
from pipeline.report.by_hand_words import sentences, would_be
from pipeline.results.drift import TestDrift
from pipeline.vocabulary import STOPS, empty
from tests.friction.makers import Law, one_test
from tests.friction.test_stage import run_on
from tests.stops.test_excluded import BY


@pytest.fixture(scope="module")
def tables():
    """A test whose hottest stops lost friction and were excluded: its stops as used, and those set aside."""
    stops = one_test(Law(), np.random.default_rng(3))
    hot = (pl.col("temperature_initial_c") > 560) & (pl.col("purpose") == "map")
    stops = stops.with_columns(mu=pl.when(hot).then(pl.col("mu") * 0.7).otherwise(pl.col("mu")))
    used = stops.with_columns(
        status=pl.when(hot).then(pl.lit("rejected")).otherwise(pl.col("status")),
        mu=pl.when(~hot).then(pl.col("mu")),
    )
    return used, stops.filter(hot), stops


def test_the_window_with_them_is_that_of_the_whole_test(tmp_path, tables):
    used, aside, whole = tables
    found = run_on(tmp_path, used, excluded=aside, more=f"exclude: [{{stops: {aside['stop'].to_list()}, {BY}}}]\n")
    numbers = aside["stop"].to_list()
    assert len(numbers) >= 5 and found.excluded.stops == numbers == found.excluded.of_the_map
    target = tmp_path / "target.yaml"
    truth = mapped(whole, Method(), wanted_of(target), 0.006).shared.window
    told = found.excluded.window
    assert [told.low_c, told.high_c, told.mu_mean] == pytest.approx(
        [truth.low_c, truth.high_c, truth.mu_mean], rel=1e-6
    )
    assert abs(found.window.high_c - truth.high_c) > 20
    said = would_be(found)
    assert f"would be {truth.low_c:.0f} °C to {truth.high_c:.0f} °C with a mean µ of {truth.mu_mean:.3f}" in said
    assert f"as used it is {found.window.low_c:.0f} °C to {found.window.high_c:.0f} °C" in said
    assert sentences(None, found, TestDrift(test="t1")) == []


def test_stops_that_no_map_would_use_change_nothing_and_nothing_is_fitted(tables):
    used, aside, _ = tables
    doubtful = aside.with_columns(status=pl.lit("suspect"))

    def refused(stops):
        raise AssertionError("fitted without need")

    found = with_excluded(used, doubtful, Method(), refused)
    assert found.of_the_map == [] and found.window is None and found.why == "none of them would enter the map"
    assert with_excluded(used, empty(STOPS), Method(), refused) is None
