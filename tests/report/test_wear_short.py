"""Thickness at the first and the last reading, and words for the keys of a target, as they stand on the sheet."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.report.sections.batches import in_words
from pipeline.report.sections.wear_short import ends_of


def readings(*rows: tuple[float, str, float]) -> pl.DataFrame:
    """(after stop, point, thickness in m) of a disc."""
    table = pl.DataFrame(rows, schema=["after_stop", "point", "value"], orient="row")
    return table.with_columns(component=pl.lit("disc"), quantity=pl.lit("thickness"))


def test_a_point_that_only_one_of_both_readings_has_moves_no_mean() -> None:
    uneven = readings((0, "1", 28e-3), (0, "2", 30e-3), (50, "1", 27.5e-3), (90, "1", 27e-3))
    first, last = ends_of(uneven)["disc"]
    assert first == (0, pytest.approx(28.0)) and last == (90, pytest.approx(27.0))


def test_a_point_read_several_times_counts_once() -> None:
    found = readings((0, "1", 28e-3), (0, "1", 28e-3), (0, "2", 30e-3), (9, "1", 27e-3), (9, "2", 29e-3))
    assert ends_of(found)["disc"] == ((0, pytest.approx(29.0)), (9, pytest.approx(28.0)))


@pytest.mark.parametrize("rows", [[(0, "1", 28e-3)], [(0, "1", 28e-3), (9, "2", 27e-3)]])
def test_of_one_reading_or_no_common_point_there_is_none(rows: list[tuple[float, str, float]]) -> None:
    assert ends_of(readings(*rows)) == {}


def test_a_customer_reads_no_keys() -> None:
    assert in_words("mu_batch_margin of the target") == "margin of µ of the target"
    told = in_words("no bite_margin is stated: mu_batch_margin over the specimens' mu, as a share of bite")
    assert told == "no margin of bite is stated: margin of µ over the specimens' µ, as a share of bite"
