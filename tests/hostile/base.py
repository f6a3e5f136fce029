"""A short simulated test in each format, to be mutated; and the results of the sound one to compare with."""

from __future__ import annotations

import dataclasses
from functools import lru_cache
from pathlib import Path

import numpy as np
import polars as pl
import yaml

from rig_samples.simulator import MARRAM_4, Block, Identity, Rig, Simulated, Style, simulate, write_test
from tests.hostile.chain import to_stops

FORMATS = ("delimited", "parquet", "mdf", "tdms")
COLUMNS = {"t": "time_s", "n": "speed_rpm", "Mb": "torque_nm", "p": "pressure_bar", "T1": "disc_temperature_c"}
SNUB = Block("check 1", "check", 3)
PROGRAM = [
    Block("bed-in", "bedding", 2, speed=(1600.0, 650.0), pressure=30.0, initial=230.0, reading=True),
    SNUB,
    Block("map cold", "map", 2, initial=120.0),
    Block("map hot", "map", 2, initial=420.0, pressure=40.0),
    dataclasses.replace(SNUB, name="check 2", stops=2, reading=True),
]


@lru_cache(maxsize=1)
def simulated() -> Simulated:
    """Eleven snubs at 50 Hz, the clock running through, wear read twice."""
    return simulate(PROGRAM, MARRAM_4, seed=41, rig=Rig(sample_rate=50.0))


def write_base(archive: Path, form: str, test: str) -> Path:
    """The simulated test in a format, as the folder `test` of the archive."""
    folder = archive / test
    identity = Identity("Marram 4", "M4-2406", "A", "2026-03-02")
    write_test(folder, simulated(), identity, Style(compress=False))
    if form != "delimited":
        for old in (folder / "recordings").iterdir():
            old.unlink()
        suffix = {"parquet": ".parquet", "mdf": ".mf4", "tdms": ".tdms"}[form]
        for (number,), rows in simulated().samples.partition_by("recording", as_dict=True).items():
            _write_binary(folder / "recordings" / f"stop_{number:03d}{suffix}", form, rows)
        card = yaml.safe_load((folder / "test.yaml").read_text())
        card["recordings"] |= {"files": f"recordings/*{suffix}", "format": form}
        (folder / "test.yaml").write_text(yaml.safe_dump(card, sort_keys=False))
    return folder


def _write_binary(path: Path, form: str, rows: pl.DataFrame) -> None:
    named = {name: rows[column].to_numpy() for name, column in COLUMNS.items()}
    if form == "parquet":
        pl.DataFrame(named).write_parquet(path)
    elif form == "mdf":
        from asammdf import MDF, Signal

        with MDF(version="4.10") as file:
            file.append([Signal(v, named["t"], name=n) for n, v in named.items() if n != "t"] + [
                Signal(named["t"], named["t"], name="t")
            ])  # fmt: skip
            file.save(path, overwrite=True)
    else:
        from nptdms import ChannelObject, TdmsWriter

        with TdmsWriter(path) as file:
            file.write_segment([ChannelObject("rig", n, v) for n, v in named.items()])


def reference(folder: Path, results: Path) -> dict[str, tuple[float | None, float | None]]:
    """mu and energy (kJ) by file of a sound test; its results stay in `results`."""
    to_stops(folder, results)
    stops = pl.read_parquet(results / "plain" / "tests" / folder.name / "stops.parquet")
    assert set(stops["status"]) == {"ok"}
    assert np.isfinite(stops["mu"].to_numpy()).all()
    return {file: (mu, energy) for file, mu, energy in stops.select("file", "mu", "energy_kj").iter_rows()}
