"""A seeded part of the study of the thermocouples' courses."""

from __future__ import annotations

from tests.studies.thermocouples import examine, page


def test_a_loss_that_the_readings_show_mends_the_law_s_heat() -> None:
    row = examine(3, 1)
    assert row["loses"] and row["used"]
    assert row["depth held"] and row["lag held"]
    # without it conductivity and share stand in for the heat that leaves, and the law is ruled out
    assert row["without barred"] and not row["with barred"]
    assert abs(row["with share"]) < 0.5 * abs(row["without share"])
    assert row["with cells"] < row["without cells"]
    text = page([row, row | {"loses": False}], 3)
    assert "| compounds | 1 | 1 |" in text
