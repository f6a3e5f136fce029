"""A small invented test written in any format, with the same samples in each."""

from __future__ import annotations

import gzip
import json
from pathlib import Path
from typing import Any

import numpy as np
import yaml
import zstandard

COLUMNS = {"time": "t", "speed": "n", "torque": "Mb", "pressure": "p", "disc_temperature": "T1"}
UNITS = {"time": "s", "speed": "rpm", "torque": "N m", "pressure": "bar", "disc_temperature": "degC"}


def samples(number: int, *, rate: float = 100.0) -> dict[str, np.ndarray]:
    """One stop as a rig sees it, in the file's units: shaft coasts, braking at 40 bar and mu 0.4, rest after release."""
    rng = np.random.default_rng(number)
    time = np.arange(0, 6.0, 1 / rate)
    pressure = 40.0 * np.clip((time - 1.0) / 0.15, 0, 1) * (time < 4.0) + 0.02 * rng.standard_normal(time.size)
    torque = 18.0 * np.clip(pressure - 0.4, 0, None) + 5.0 + 2.0 * rng.standard_normal(time.size)
    slowed = np.r_[0.0, np.cumsum((torque[1:] + torque[:-1]) / 2)] / rate / 26.0 * 30 / np.pi
    return {
        "time": 100.0 * number + time,
        "speed": 1500.0 - slowed,
        "torque": torque,
        "pressure": pressure,
        "disc_temperature": 300.0 + 20.0 * np.clip(time - 1.0, 0, 3.0),
    }


def card(**recordings: Any) -> dict[str, Any]:
    """A whole card; keywords go into `recordings`."""
    stops = 3
    channels = {name: {"column": COLUMNS[name], "unit": UNITS[name]} for name in COLUMNS}
    return {
        "schema": 1, "compound": "Marram 4", "batch": "M4-2406", "specimen": "A", "date": "2026-03-02", "rig": "north",
        "procedure": "characterisation",
        "brake": {
            "friction_ring": {"outer_diameter": "312 mm", "inner_diameter": "220 mm"}, "effective_radius": "134 mm",
            "pistons_per_side": ["30 mm", "34 mm", "38 mm"], "pad_area": "52 cm^2",
        },
        "inertia": "26 kg m^2",
        "recordings": {"files": "recordings/*", "format": "delimited", "holds": "stop", "channels": channels, **recordings},
        "blocks": [{"name": "check 1", "purpose": "check", "kind": "snub", "stops": stops, "speed": ["1500 rpm", "700 rpm"],
                    "pressure": "40 bar", "initial_temperature": "300 degC"}],
    }  # fmt: skip


def write_card(folder: Path, content: dict[str, Any]) -> Path:
    (folder / "recordings").mkdir(parents=True, exist_ok=True)
    (folder / "test.yaml").write_text(yaml.safe_dump(content, allow_unicode=True), encoding="utf-8")
    return folder


def text(
    columns: dict[str, np.ndarray], *, delimiter: str = ",", decimal: str = ".", units: bool = False, quote: str = "",
    before: str = "", digits: int = 6, newline: str = "\n", names: dict[str, str] = COLUMNS,
) -> str:  # fmt: skip
    """Delimited text of the samples, each to `digits` decimals."""
    head = [delimiter.join(f"{quote}{names[name]}{quote}" for name in columns)]
    if units:
        head.append(delimiter.join(f"[{UNITS[name]}]" for name in columns))
    rows = np.column_stack(list(columns.values()))
    body = [delimiter.join(f"{quote}{v:.{digits}f}{quote}" for v in row) for row in rows.tolist()]
    if decimal != ".":
        body = [line.replace(".", decimal) for line in body]
    return before + newline.join([*head, *body]) + newline


def written(folder: Path, name: str, content: bytes) -> Path:
    """A recording's bytes in the folder, compressed as the name says."""
    path = folder / "recordings" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    if name.endswith(".gz"):
        content = gzip.compress(content)
    elif name.endswith(".zst"):
        content = zstandard.compress(content)
    path.write_bytes(content)
    return path


def text_test(folder: Path, count: int = 3, *, suffix: str = ".csv", encoding: str = "utf-8", **style: Any) -> Path:
    """A test of `count` text recordings; `style` as for `text`, what the card must say of it in `recordings`."""
    recordings = style.pop("recordings", {})
    write_card(folder, card(**recordings))
    for number in range(1, count + 1):
        written(folder, f"{number:04d}{suffix}", text(samples(number), **style).encode(encoding))
    return folder


def ingested(folder: Path, out: Path) -> tuple[Any, dict[str, Any]]:
    """The channels table and the record of a test."""
    import polars as pl

    from pipeline.recordings.stage import run

    out.mkdir(parents=True, exist_ok=True)
    run(folder, out / "channels.parquet", out / "channels.json")
    return pl.read_parquet(out / "channels.parquet"), json.loads((out / "channels.json").read_text(encoding="utf-8"))


def expected(number: int) -> np.ndarray:
    """The samples in SI, one column per canonical channel."""
    raw = samples(number)
    return np.column_stack(
        [raw["time"], raw["speed"] * np.pi / 30, raw["torque"], raw["pressure"] * 1e5, raw["disc_temperature"] + 273.15]
    )
