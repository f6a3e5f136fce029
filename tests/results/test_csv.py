"""stops.csv: the rows of stops.parquet for a spreadsheet, with units, and nothing in it that a spreadsheet runs."""

from __future__ import annotations

import csv
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.cli.guard import guarded
from pipeline.results import write_csv
from pipeline.vocabulary import STOPS, conform
from tests.stops.makers import Application, Rig, reduce, write_test

BOM = b"\xef\xbb\xbf"


def cells(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.reader(file))


def test_it_has_the_rows_of_the_table_and_a_unit_in_each_header(tmp_path: Path) -> None:
    write_test(tmp_path, [Application(pressure=p, block=f"map {p} Öl") for p in (15, 40)], Rig())
    found = reduce(tmp_path)
    assert found.stops.height == 2
    path = tmp_path / "results" / "first" / "tests" / "t1" / "stops.csv"
    assert path.read_bytes().startswith(BOM)
    head = cells(path)[0]
    units = {column.name: column.unit for column in STOPS}
    assert head == [f"{name} ({units[name]})" if units.get(name) else name for name in found.stops.columns]
    assert "torque_nm (N m)" in head and "mu (1)" in head and "block" in head
    back = pl.read_csv(
        path, schema_overrides={name: pl.String for name in ("file", "block", "findings")}, encoding="utf8"
    )
    back = back.rename(dict(zip(back.columns, found.stops.columns, strict=True)))
    numbers = pl.selectors.float() | pl.selectors.integer()
    same = back.select(pl.col(name).cast(kind) for name, kind in found.stops.select(numbers).schema.items())
    assert_frame_equal(same, found.stops.select(numbers), check_exact=True)
    assert back["block"].to_list() == ["map 15 Öl", "map 40 Öl"]
    assert [row.split() for row in back["findings"].fill_null("")] == found.stops["findings"].to_list()


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "=cmd|' /C calc'!A0", 'a"b,c', "plain"]
)
def test_no_text_of_the_user_is_a_formula(tmp_path: Path, text: str) -> None:
    write_csv(tmp_path / "x.csv", conform(pl.DataFrame({"stop": [1], "block": [text]}), STOPS), STOPS)
    head, row = cells(tmp_path / "x.csv")
    cell = row[head.index("block")]
    assert cell.removeprefix("'") == text
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
    assert (cell == text) == (text[0] not in "=+-@\t\r")


def test_a_stage_that_failed_leaves_the_header_alone(tmp_path: Path) -> None:
    guarded("stops", "t1", [tmp_path / "stops.parquet", tmp_path / "stops.csv"], lambda: 1 / 0)
    ((first, *_),) = cells(tmp_path / "stops.csv")
    assert first == "stop"
