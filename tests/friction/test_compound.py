"""A compound over its specimens and batches."""

from __future__ import annotations

import json

import numpy as np
import polars as pl
import pytest

from pipeline.friction.bands import curve
from pipeline.friction.compound import TestStops, common_of, of_compound
from pipeline.friction.map import fit_map
from pipeline.friction.result import Wanted
from pipeline.method import Method
from pipeline.method.friction import Friction
from pipeline.results import plain
from tests.friction.makers import Law, compound

WANTED = Wanted((0.36, 0.60), (553.0, 853.0))


def as_tests(stops: pl.DataFrame, rig: str = "north") -> list[TestStops]:
    return [
        TestStops(
            part["test"][0], part["batch"][0], part["specimen"][0], part.drop("test", "batch", "specimen"), rig, 0.006
        )
        for part in stops.partition_by("test", maintain_order=True)
    ]


@pytest.fixture(scope="module")
def found() -> dict:
    rng = np.random.default_rng(3)
    law = Law(hot=0.48)
    return of_compound(as_tests(compound(law, rng, batches=2, specimens=2, batch_sd=0.02)), Method(), WANTED)


def test_keys_and_no_nan(found: dict) -> None:
    json.dumps(plain(found), allow_nan=False)
    for key in (
        "stops_used",
        "reference",
        "window",
        "curve",
        "sensitivity",
        "bedding",
        "fade",
        "recovery",
        "holds",
        "sides",
    ):
        assert key in found
    assert found["stops_used"] == 4 * 113
    assert {(s["batch"], s["specimen"]) for s in found["specimens"]} == {
        (f"b{i}", f"s{j}") for i in range(2) for j in range(2)
    }
    assert found["between"]["specimen_sd"] > 0 and found["between"]["batch_sd"] > 0


def test_curve_lies_inside_its_bands(found: dict) -> None:
    for point in found["curve"]:
        assert point["tolerance_low"] < point["low"] < point["mu"] < point["high"] < point["tolerance_high"]


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
    assert found["between"]["specimen_sd"] is None and "single specimen" in found["between"]["specimen_why"]


def test_drifted_stops_are_left_out() -> None:
    stops = compound(Law(), np.random.default_rng(1), specimens=2)
    tests = as_tests(stops)
    early = [TestStops(t.test, t.batch, t.specimen, t.stops, t.rig, t.common, changed_at=61) for t in tests]
    assert of_compound(early, Method(), WANTED)["stops_used"] == 2 * 60


def test_calibration_is_common_to_a_rig_only() -> None:
    stops = compound(Law(), np.random.default_rng(1), specimens=2)
    one, other = as_tests(stops), as_tests(stops, rig="south")
    assert common_of(one) == pytest.approx(0.006)
    assert common_of([one[0], other[1]]) == pytest.approx(0.006 / np.sqrt(2))


def test_nothing_to_go_on() -> None:
    found = of_compound([], Method(), WANTED)
    assert found["window"] is None and found["window_reason"] == "no test with stops" and found["curve"] == []
    empty = compound(Law(), np.random.default_rng(1)).head(0)
    assert of_compound([TestStops("t", "b", "s", empty)], Method(), WANTED)["stops_used"] == 0
