"""Columns that are kept and columns that are read again give the same samples and the same stops."""

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.conditioning import channels_file as module
from pipeline.conditioning.channels_file import ChannelsFile
from tests.stops.makers import Application, Rig, reduce, write_test

APPS = [Application(pressure=p, block=f"b{i}") for i, p in enumerate((20.0, 40.0, 30.0))]
COLUMNS = ["recording", "time", "speed", "torque", "pressure", "disc_temperature"]


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    base = tmp_path_factory.mktemp("channels")
    write_test(base, APPS, Rig())
    return base / "t1.parquet"


@given(
    asked=st.lists(st.lists(st.sampled_from(COLUMNS), min_size=1, unique=True), min_size=1, max_size=4),
    rows=st.integers(50, 2000),
    fitting=st.integers(0, len(COLUMNS)),
)
def test_whatever_is_held_each_column_is_as_in_the_file(path, asked, rows, fitting):
    whole = pl.read_parquet(path)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "HELD_BYTES", fitting * whole.height * module.VALUE_BYTES)
        file = ChannelsFile(path)
        for columns in asked:
            parts = list(file.parts(columns, rows))
            assert max(part.height for part in parts) <= rows
            assert pl.concat(parts).equals(whole.select(columns))
            assert file.scan(columns).collect().equals(whole.select(columns))
        assert len(file._held) <= fitting


def test_a_test_too_large_to_hold_has_the_same_stops(path, monkeypatch):
    held = reduce(path.parent)
    monkeypatch.setattr(module, "HELD_BYTES", 0)
    again = reduce(path.parent)
    assert held.stops.height == len(APPS) and again.stops.equals(held.stops) and again.traces.equals(held.traces)
    assert again.summary["channels"] == held.summary["channels"] and again.findings == held.findings


def test_a_held_column_is_unpacked_once(path, monkeypatch):
    import pyarrow.parquet as pq

    read = []
    usual = pq.ParquetFile.read
    monkeypatch.setattr(
        pq.ParquetFile, "read", lambda self, columns, **more: read.extend(columns) or usual(self, columns, **more)
    )
    reduce(path.parent)
    assert sorted(read) == sorted(set(read)) and set(read) >= {"recording", "time", "pressure"}
