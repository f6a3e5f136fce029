"""MDF files whose channels do not lie where they say, and files of the older edition."""

import struct

import numpy as np
import pytest

from tests.recordings.makers import ingested, samples
from tests.recordings.test_formula import mdf

BYTE_OFFSET, BIT_COUNT = 92, 96  # of a channel's block in edition 4 (ASAM MDF 4.1, CNBLOCK), from its address


def changed(path, channel, at, value):
    """Write a 32-bit number into the block of a channel."""
    from asammdf import MDF

    with MDF(path) as file:
        group, index = file.whereis(channel)[0]
        block = file.groups[group].channels[index]
        address, held = block.address, {BYTE_OFFSET: block.byte_offset, BIT_COUNT: block.bit_count}
    data = bytearray(path.read_bytes())
    assert struct.unpack_from("<I", data, address + at)[0] == held[at]
    struct.pack_into("<I", data, address + at, value)
    path.write_bytes(data)


@pytest.mark.parametrize(
    ("at", "value"), [(BYTE_OFFSET, 41), (BYTE_OFFSET, 1 << 31), (BIT_COUNT, 1 << 20), (BIT_COUNT, 65)]
)
@pytest.mark.parametrize("channel", ["Mb", "T1"])
def test_a_channel_outside_its_record_is_refused_before_it_is_copied(tmp_path, channel, at, value):
    """The library copies without looking: it would read what lies behind the record, or crash the process."""
    folder = mdf(tmp_path / "t", "2*X1")
    for path in (folder / "recordings").iterdir():
        changed(path, channel, at, value)
    table, record = ingested(folder, tmp_path / "out")
    assert table.height == 0
    assert f"channel '{channel}'" in record["unusable"] or "cannot be read as MDF" in record["unusable"]


@pytest.mark.parametrize("version", ["3.30", "4.10"])
def test_both_editions_are_read(tmp_path, version):
    from asammdf import MDF, Signal

    folder = mdf(tmp_path / "t", "2*X1")
    for number, path in enumerate(sorted((folder / "recordings").iterdir()), start=1):
        raw = samples(number)
        names = {"speed": "n", "torque": "Mb", "pressure": "p", "disc_temperature": "T1"}
        signals = [Signal(raw[name], raw["time"], name=column) for name, column in names.items()]
        counts = Signal(
            (raw["pressure"] * 100).astype(np.int16), raw["time"], name="p", conversion={"a": 0.01, "b": 0.0}
        )
        signals[2] = counts
        with MDF(version=version) as file:
            file.append(signals)
            saved = file.save(path.with_suffix(".mdf" if version < "4" else ".mf4"), overwrite=True)
        if saved != path:
            path.unlink()
    table, record = ingested(folder, tmp_path / "out")
    assert record["unusable"] is None
    assert table["torque"].to_numpy()[:600] == pytest.approx(samples(1)["torque"])
    assert table["pressure"].to_numpy()[:600] / 1e5 == pytest.approx(samples(1)["pressure"], abs=0.011)
