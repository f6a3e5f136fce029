"""A fault of ours in one stage leaves whole files that say so, and its traceback beside them."""

import polars as pl

from pipeline.cli.guard import guarded
from pipeline.results import read_json


def test_a_failing_stage_leaves_unusable_files_and_a_good_run_clears_the_log(tmp_path):
    outputs = [tmp_path / name for name in ("stops.parquet", "summary.json", "test.html", "sheet.pdf")]

    def fails():
        raise ZeroDivisionError("<b>")

    guarded("stops", "t1", outputs, fails)
    assert pl.read_parquet(outputs[0]).columns[:2] == ["stop", "file"]
    assert "fault of ours in stage stops" in read_json(outputs[1])["unusable"]
    assert "fault of ours" in outputs[2].read_text()
    assert outputs[3].read_bytes().startswith(b"%PDF")
    assert "ZeroDivisionError" in (tmp_path / "stops.parquet.fault.txt").read_text()
    assert not list(tmp_path.glob("*.part"))
    guarded("stops", "t1", outputs, lambda: None)
    assert not (tmp_path / "stops.parquet.fault.txt").exists()
