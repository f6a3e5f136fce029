"""A seeded part of the planner's study in the default run, more of it (heavy) otherwise."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.studies import planner, planner_few


@pytest.mark.parametrize("runs", [5, pytest.param(10, marks=pytest.mark.heavy)])
def test_planned_chances_come_out_of_stops(runs: int) -> None:
    """So many runs a row: each chance within what chance leaves it, and none of it systematic."""
    table = [row for case in planner.CASES[:3:2] for row in planner.rows(case, runs, 7)]
    assert len(table) == 18 and {row.quantity for row in table} == {"mu", "bite", "wear"}
    z = [row.off / math.sqrt(row.planned * (1 - row.planned) / row.runs) for row in table]
    assert max(map(abs, z)) < 3.7
    assert abs(np.mean(z)) < 0.8


@pytest.mark.heavy
def test_all_designs_keep_their_chances() -> None:
    """Eight designs of 100 runs a truth: within 5 points and three standard errors of that many runs; three of all rows on the mean."""
    table = [row for case in planner.CASES for row in planner.rows(case, 100, 2)]
    assert len(table) == 72
    for row in table:
        assert abs(row.off) < planner.ALLOWED + 3 * math.sqrt(row.planned * (1 - row.planned) / row.runs) / 2
    chance = math.sqrt(sum(row.planned * (1 - row.planned) / row.runs for row in table)) / len(table)
    assert abs(np.mean([row.off for row in table])) < 3 * chance


def test_a_loss_is_found_as_often_as_planned() -> None:
    healthy, found, larger = planner_few.glazing(8, 5)
    assert healthy.came <= 0.2 and larger.came >= 0.8
    assert abs(found.came - found.planned) < 3.3 * math.sqrt(found.planned * (1 - found.planned) / found.runs)
    assert larger.named >= 0.6


@pytest.mark.heavy
def test_window_ends_are_placed_as_sharply_as_planned() -> None:
    for row in planner_few.window(12, 4):
        assert 0.5 < row.planned / row.came < 2.0


@pytest.mark.heavy
def test_a_wear_law_is_read_as_sharply_as_planned() -> None:
    """Two specimens, twelve simulated compounds: half widths of the rate and of the activation energy."""
    rows = [row for row in planner_few.wear_law(12, 6) if row.specimens == 2]
    assert {row.parameter for row in rows} == {"a", "B", "Ea"}
    for row in rows:
        assert row.laws > 0.5 and 0.6 < row.planned / row.came < 1.6
