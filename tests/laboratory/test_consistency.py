"""h, k and Cochran's C: their published critical values, and one odd test among alike ones."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.laboratory.consistency import cochran_of, h_critical, h_statistics, k_critical, k_statistics


@pytest.mark.published("consistency of laboratories: critical values", source="ASTM E691, 0.5 %", origin="from memory")
@pytest.mark.parametrize(("laboratories", "results", "h", "k"), [(8, 3, 2.15, 2.06), (6, 3, 1.92, 1.98)])
def test_critical_values_of_astm_e691(laboratories, results, h, k):
    """ASTM E691, table of critical values at 0.5 % (from memory)."""
    assert h_critical(laboratories) == pytest.approx(h, abs=0.005)
    assert k_critical(laboratories, results) == pytest.approx(k, abs=0.005)


@pytest.mark.published("largest of several variances: critical values", source="ISO 5725-2", origin="from memory")
@pytest.mark.parametrize(("tests", "stops", "five", "one"), [(8, 3, 0.516, 0.615), (10, 2, 0.602, 0.718)])
def test_cochran_of_iso_5725(tests, stops, five, one):
    """ISO 5725-2, critical values of Cochran's test (from memory)."""
    found = cochran_of(list("abcdefghij"[:tests]), np.ones(tests), np.full(tests, stops - 1.0))
    assert (found.critical_5, found.critical_1) == pytest.approx((five, one), abs=6e-4)


@pytest.mark.parametrize(("largest", "verdict"), [(3.0, "none"), (9.0, "straggler"), (14.0, "outlier")])
def test_one_test_with_more_scatter_is_named(largest, verdict):
    variances = np.array([1.0, 1, largest, 1, 1, 1, 1, 1])
    found = cochran_of([f"t{i}" for i in range(8)], variances, np.full(8, 2.0))
    assert (found.test, found.verdict) == ("t2", verdict)
    assert found.c == pytest.approx(largest / variances.sum())


def test_a_large_variance_of_few_stops_is_weaker_than_one_of_many():
    few = cochran_of(["a", "b", "c"], np.array([4.0, 1, 1]), np.array([2.0, 20, 20]))
    many = cochran_of(["a", "b", "c"], np.array([4.0, 1, 1]), np.array([20.0, 20, 20]))
    assert (few.verdict, many.verdict) == ("none", "outlier")


def test_h_names_the_odd_specimen_and_no_batch_of_one():
    rng = np.random.default_rng(5)
    batch = [f"b{i // 3}" for i in range(24)] + ["alone"]
    values = np.array([0.1 * (i // 3) for i in range(24)] + [9.0]) + 0.01 * rng.normal(size=25)
    values[7] += 0.08
    found = h_statistics(values, batch)
    assert list(np.flatnonzero(np.abs(found.value) > found.critical)) == [7]
    assert np.isnan(found.value[-1])


def test_consistency_raises_few_false_alarms():
    """At 0.5 % a test: 3,000 healthy ones give 15 of each on average, more than 30 once in 3,000."""
    rng = np.random.default_rng(6)
    alarms_h = alarms_k = 0
    for _ in range(200):
        h = h_statistics(rng.normal(size=15), [f"b{i // 3}" for i in range(15)])
        df = np.tile([4.0, 9.0, 14.0], 5)
        k = k_statistics(rng.chisquare(df) / df, df)
        alarms_h += int((np.abs(h.value) > h.critical).sum())
        alarms_k += int((k.value > k.critical).sum())
    assert 2 <= alarms_h <= 30
    assert 2 <= alarms_k <= 30
