"""Tests of which only a reduced table was kept."""

import json

import polars as pl
import pytest

from tests.stops.makers import Application, Rig, card_text, reduce

APPS = [Application(block="bed-in", purpose="bedding")] * 2 + [Application(block="map 1", pressure=20.0)] * 3


def kept(tmp_path, rows, blocks=APPS):
    folder = tmp_path / "t1"
    folder.mkdir(exist_ok=True)
    text = card_text(blocks, Rig(), holds="summary", sensors="")
    head, tail = text.split("  channels:\n")
    channels = "".join(f"    {name}: {{column: {name}, unit: {unit}}}\n" for name, unit in rows.pop("units").items())
    text = head + "  channels:\n" + channels + tail[tail.index("blocks:") :]
    (folder / "test.yaml").write_text(text, encoding="utf-8")
    n = len(rows["mu"])
    pl.DataFrame({"recording": [1] * n} | rows, schema_overrides={"recording": pl.Int32}).write_parquet(
        tmp_path / "t1.parquet"
    )
    record = {
        "test": "t1", "unusable": None, "holds": "summary", "findings": [],
        "recordings": [{"recording": 1, "file": "recordings/old.csv", "rows": n, "digest": "x", "first_time": None,
                        "last_time": None, "duplicate_of": None, "error": None}],
    }  # fmt: skip
    (tmp_path / "t1.json").write_text(json.dumps(record), encoding="utf-8")
    return reduce(tmp_path)


UNITS = {"mu": '""', "energy": "kJ", "temperature_initial": "degC", "duration": "s"}


def rows(n=5, **more):
    return {
        "mu": [0.40 + 0.01 * i for i in range(n)], "energy_kj": [200.0] * n, "temperature_initial_c": [300.0] * n,
        "duration_s": [3.0] * n, "units": dict(UNITS),
    } | more  # fmt: skip


def test_rows_follow_the_schedule_and_are_marked(tmp_path):
    found = kept(tmp_path, rows())
    assert found.stops["block"].to_list() == ["bed-in"] * 2 + ["map 1"] * 3
    assert found.stops["purpose"].to_list() == ["bedding"] * 2 + ["map"] * 3
    assert found.stops["mu"].to_list() == pytest.approx([0.40, 0.41, 0.42, 0.43, 0.44])
    assert found.stops["status"].to_list() == ["ok"] * 5
    assert found.stops["energy_density_j_mm2"].to_list() == pytest.approx([200e3 / 10400] * 5)
    assert found.stops["mu_u"].null_count() == 5 and found.stops["file"].to_list() == ["recordings/old.csv"] * 5
    assert all("not_reprocessable" in codes for codes in found.stops["findings"].to_list())
    assert found.summary["reprocessable"] is False and found.traces.height == 0
    assert [f["code"] for f in found.findings] == ["not_reprocessable"]


def test_a_mapped_block_column_decides(tmp_path):
    found = kept(tmp_path, rows(3, block=["map 1", "map 1", "bed-in"]))
    assert found.stops["purpose"].to_list() == ["map", "map", "bedding"]
    assert found.stops["target_pressure_bar"].to_list() == [20.0, 20.0, 40.0]


def test_counts_that_differ_and_unknown_blocks_are_said(tmp_path):
    assert "stop_missing" in {f["code"] for f in kept(tmp_path, rows(4)).findings}
    more = kept(tmp_path, rows(6))
    assert "stop_extra" in {f["code"] for f in more.findings} and more.stops["block"][5] is None
    odd = kept(tmp_path, rows(2, block=["map 1", "elsewhere"]))
    assert "stop_extra" in {f["code"] for f in odd.findings} and odd.stops["purpose"].to_list() == ["map", None]


def test_a_row_without_friction_is_rejected_and_keeps_its_energy(tmp_path):
    table = rows()
    table["mu"][2] = None
    found = kept(tmp_path, table)
    assert found.stops["status"].to_list() == ["ok", "ok", "rejected", "ok", "ok"]
    assert found.stops["energy_kj"][2] == 200.0


def test_no_rows_is_unusable(tmp_path):
    table = {"mu": [], "energy_kj": [], "temperature_initial_c": [], "duration_s": [], "units": dict(UNITS)}
    assert "no rows" in kept(tmp_path, table).summary["unusable"]
