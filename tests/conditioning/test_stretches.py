"""Long recordings read in bounded pieces give what they give whole."""

import numpy as np
import polars as pl
import pytest

from pipeline.conditioning import stretches as module
from pipeline.conditioning.channels_file import ChannelsFile
from pipeline.conditioning.segments import brakings
from pipeline.conditioning.stretches import stretches
from pipeline.method.segmentation import Segmentation
from tests.stops.makers import Application, Rig, reduce, write_test

APPS = [
    Application(pressure=p, speed=(1500, 500), before=6.0, after=4.0, block=f"b{i}")
    for i, p in enumerate((20, 40, 30, 25, 50, 45))
]
COLUMNS = ["time", "speed", "torque", "pressure", "disc_temperature"]


@pytest.mark.parametrize("longest", [400, 900, 2500])
def test_pieces_join_to_the_recording_and_split_no_braking(tmp_path, longest):
    write_test(tmp_path, APPS, Rig(), series=True)
    path = tmp_path / "t1.parquet"
    whole = pl.read_parquet(path)
    pieces = list(stretches(ChannelsFile(path), COLUMNS, Segmentation(), longest=longest, batch=300))
    assert len(pieces) > 1
    assert [p.row for p in pieces] == list(np.cumsum([0, *(p.size for p in pieces[:-1])]))
    for name in COLUMNS:
        assert np.array_equal(np.concatenate([p.channels[name] for p in pieces]), whole[name].to_numpy())
    counted = sum(
        len(brakings(p.channels["time"], p.channels["speed"], p.channels["pressure"], Segmentation())) for p in pieces
    )
    assert counted == len(APPS)


def test_a_series_in_pieces_gives_the_same_stops(tmp_path, monkeypatch):
    write_test(tmp_path, APPS, Rig(), series=True)
    whole = reduce(tmp_path).stops
    monkeypatch.setattr(module.stretches, "__kwdefaults__", {"longest": 900, "batch": 300})
    pieces = reduce(tmp_path).stops
    assert pieces.height == whole.height == len(APPS)
    for name in ("mu", "energy_kj", "start_s", "temperature_initial_c", "torque_rest_nm"):
        assert pieces[name].to_numpy() == pytest.approx(whole[name].to_numpy(), rel=2e-3), name


def test_recordings_in_one_batch_are_told_apart(tmp_path):
    write_test(tmp_path, APPS[:3], Rig())
    found = list(stretches(ChannelsFile(tmp_path / "t1.parquet"), COLUMNS, Segmentation()))
    assert [p.recording for p in found] == [1, 2, 3] and {p.row for p in found} == {0}


def test_absent_columns_are_left_out(tmp_path):
    write_test(tmp_path, APPS[:1], Rig())
    found = next(stretches(ChannelsFile(tmp_path / "t1.parquet"), [*COLUMNS, "drive_torque"], Segmentation()))
    assert set(found.channels) == set(COLUMNS)
