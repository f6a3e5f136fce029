"""A seeded part of the batch power study, its harder cases under the heavy mark: errors near what is promised, powers near what is computed."""

from __future__ import annotations

import pytest

from tests.studies import batch_power


@pytest.fixture(scope="module", params=[0.02, pytest.param(0.05, marks=pytest.mark.heavy)])
def table(request):
    return batch_power.main_table(request.param, 1)


def test_answers_come_as_often_as_computed(table):
    for _, _, row, equivalent, different in table:
        assert row.equivalent / row.draws == pytest.approx(equivalent, abs=0.17)
        assert row.different / row.draws == pytest.approx(different, abs=0.17)
    apart = [row.equivalent / row.draws - computed for _, _, row, computed, _ in table]
    assert abs(sum(apart) / len(apart)) < 0.02


def test_wrong_answers_are_rare(table):
    at_margin = [row for _, _, row, _, _ in table if row.difference == batch_power.MARGIN]
    alike = [row for _, _, row, _, _ in table if row.difference == 0.0]
    assert sum(r.equivalent for r in at_margin) / sum(r.draws for r in at_margin) < 0.08
    assert sum(r.different for r in alike) / sum(r.draws for r in alike) < 0.03


def test_intervals_hold_the_truth(table):
    held = sum(row.covered for _, _, row, _, _ in table) / sum(row.draws for _, _, row, _, _ in table)
    assert 0.93 < held < 0.97


@pytest.mark.heavy
def test_unlike_scatter_and_heavy_tails_do_not_break_the_levels():
    rows = batch_power.harder(0.1, 1)
    assert rows
    for row in rows:
        wrong = row.equivalent if row.difference >= batch_power.MARGIN else row.different
        assert wrong / row.draws <= 0.13
        assert row.covered / row.draws >= 0.87


def test_whole_comparisons_from_stops():
    rows = batch_power.from_stops(0.05, 1)
    assert rows
    for row in rows:
        assert row.like_equivalent >= row.draws - 2
        assert row.odd_different >= row.draws - 2
        assert row.like_different == row.odd_equivalent == 0


def test_the_specimens_asked_for_decide():
    decided = [right for _, _, needed, right in batch_power.advice(0.05, 1) if needed is not None]
    assert decided and min(decided) > 0.65
