"""The tables of blocks and lines on pages: figures as the file has them, reasons where there are none."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.friction.stage import of_test
from pipeline.friction.wanted import Wanted
from pipeline.method import Method
from pipeline.report import block_tables, friction_content
from pipeline.report.sections import block_short
from pipeline.report.sections import blocks as section
from pipeline.report.source import Cited
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.friction import TestFriction
from pipeline.results.friction_blocks import Block, Green
from pipeline.results.model import renewed
from tests.makers import stops_frame


def of(stops: pl.DataFrame, common: float | None = 0.01) -> TestFriction:
    return of_test(stops, Method(), Wanted(), common)[0]


def two_blocks() -> pl.DataFrame:
    mu = [0.40, 0.41, 0.42, 0.43, 0.45, None]
    return stops_frame(
        6, block=["a"] * 4 + ["b"] * 2, mu=mu, status=["ok"] * 5 + ["rejected"], pressure_bar=[20.0] * 4 + [40.0] * 2,
        temperature_peak_c=[390.0, 391.0, 392.0, 399.0, 400.0, 700.0],
    )  # fmt: skip


def test_a_row_of_the_tests_page() -> None:
    first, second = block_tables.block_rows(of(two_blocks()))
    row = dict(zip(block_tables.HEAD, first, strict=True))
    assert row["Stops used of run"] == "4 of 4" and row["least"] == "0.400" and row["largest"] == "0.430"
    assert row["µ"].startswith("0.415 (0.39") and row["sd"] == "0.0129" and row["Peak (°C)"] == "393 [390, 399]"
    row = dict(zip(block_tables.HEAD, second, strict=True))
    assert (
        row["Stops used of run"] == "1 of 2"
        and row["µ"].startswith("0.450; no interval: a single stop")
        and row["sd"] == "–"
    )


def test_notes_say_what_intervals_hold_and_why_something_is_missing() -> None:
    found = of(two_blocks())
    said = block_tables.block_note(found)
    assert "each block's own alone (fewer than 3 map or check blocks" in said and "and 1 % (one standard" in said
    assert "climbs or falls steeply with temperature" in said and "climbs or falls steeply" in section.SAID
    assert "no accuracies are stated" in block_tables.block_note(of(two_blocks(), None))
    assert block_tables.deceleration_note(found) == (
        "No mean fully developed deceleration (MFDD): 2 of 2 blocks: the snubs end above 0.1 of their start speed."
    )
    assert any("common to all levels" in text for text in block_tables.line_notes(found))
    assert any(text.startswith("No line of speed: one speed was run") for text in block_tables.line_notes(found))
    assert [row[1] for row in block_tables.line_rows(found)] == ["20.0", "40.0"]


def test_green_friction_is_called_the_mean_that_it_is() -> None:
    green = Green(value=0.4145, low=0.406, high=0.423, stops=5, source="first stops of bedding")
    rows = dict(friction_content._history(of(two_blocks()).model_copy(update={"green": green})))
    assert rows["Green µ"].endswith(", mean of 5 first stops of bedding")


def test_a_batch_without_mu_is_not_the_lowest() -> None:
    def row(batch: str, mu: float | None) -> Cited[Block]:
        one = of(two_blocks()).blocks[0]
        value = renewed(one.mu, value=mu, low=None, high=None, why=None if mu else "no µ")
        return Cited("f", renewed(one, batch=batch, mu=value), "/blocks/0")

    known = {"a": None, "b": 0.42, "c": 0.38, "d": 0.40, "e": 0.41}
    rows = {"check": {batch: row(batch, mu) for batch, mu in known.items()}}
    assert block_short._ends(rows, list(known)) == ["c", "b"]
    cells = block_short._row("check", rows["check"], ["c", "b"])
    assert [cell.value for cell in cells[2:4]] == [0.38, 0.42]
    bare = section._row(Cited("f", renewed(of(two_blocks()).blocks[0], batch=None), "/blocks/0"), False, False)
    assert not [cell.label for cell in bare if hasattr(cell, "label") and "None" in cell.label]


def test_rows_of_the_sheet_cite_their_place() -> None:
    found = of(two_blocks())
    whole = CompoundFriction(compound="x", blocks=found.blocks, lines=found.lines)
    (first, _) = Cited("compounds/x/friction.json", whole).each(lambda f: f.blocks)
    cells = section._row(first, batches=True, braked=False)
    keys = [cell.key for cell in cells if hasattr(cell, "key")]
    assert keys[0] == "/blocks/0/mu/value" and "/blocks/0/temperature_peak_c/most" in keys
    (line,) = Cited("f", whole).each(lambda f: f.lines)
    (_, level) = section._levels(line, batches=False)
    assert level[-1].key == "/lines/0/levels/1/mu/value" and np.isclose(level[-1].value, 0.45)
