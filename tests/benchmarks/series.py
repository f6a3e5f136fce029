"""Peak memory and time of a series recording of several GB: ingest and reduction.

    python -m tests.benchmarks.series [--gigabytes 2] [--format delimited|parquet] [--room FOLDER] [--write]

Writes one invented recording of back-to-back snubs at 1 kHz, runs `stopsheet channels` and `stopsheet stops` on it, each
in a process of its own, and prints for each its time and the highest resident memory the kernel saw.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import yaml

RATE = 1000.0
CYCLE_S = 40.0
INERTIA = 26.0
TORQUE_PER_BAR = 18.0


def cycle(number: int) -> pl.DataFrame:
    """One snub from 1500 rpm at 40 bar with its idle time, in the file's units; time runs through the series."""
    rng = np.random.default_rng(number)
    local = np.arange(0, CYCLE_S, 1 / RATE)
    level = 40.0 * np.clip((local - 5.0) / 0.15, 0, 1) * (local < 8.5)
    torque = TORQUE_PER_BAR * np.clip(level - 0.4, 0, None) + 5.0
    lost = np.cumsum(torque) / RATE / INERTIA * 30 / np.pi
    speed = np.where(
        local < 9.0, 1500.0 - lost, np.minimum(1500.0, 1500.0 - np.interp(9.0, local, lost) + 40 * (local - 9.0))
    )
    heat = np.interp(local, [0, 5, 8.5, CYCLE_S], [300, 300, 380, 300])
    return pl.DataFrame(
        {
            "t": number * CYCLE_S + local,
            "n": speed + 0.2 * rng.standard_normal(local.size),
            "Mb": torque + 2.0 * rng.standard_normal(local.size),
            "p": level + 0.02 * rng.standard_normal(local.size),
            "T1": heat + 0.3 * rng.standard_normal(local.size),
        }
    )


def write_recording(path: Path, form: str, size: float) -> int:
    """Cycles until the file reaches `size` bytes; returns how many."""
    count = 0
    if form == "parquet":
        import pyarrow.parquet as pq

        with pq.ParquetWriter(path, cycle(0).to_arrow().schema) as writer:
            while path.stat().st_size < size:
                writer.write_table(pl.concat(cycle(count + i) for i in range(20)).to_arrow())
                count += 20
        return count
    with path.open("wb") as file:
        while file.tell() < size:
            cycle(count).write_csv(file, float_precision=4, include_header=count == 0)
            count += 1
    return count


def write_test(folder: Path, form: str, size: float) -> int:
    (folder / "recordings").mkdir(parents=True)
    suffix = "parquet" if form == "parquet" else "csv"
    count = write_recording(folder / "recordings" / f"series.{suffix}", form, size)
    units = {"time": ("t", "s"), "speed": ("n", "rpm"), "torque": ("Mb", "N m"), "pressure": ("p", "bar"),
             "disc_temperature": ("T1", "degC")}  # fmt: skip
    card = {
        "schema": 1, "compound": "Marram 4", "batch": "M4-2406", "specimen": "A", "date": "2026-03-02", "rig": "north",
        "brake": {"friction_ring": {"outer_diameter": "312 mm", "inner_diameter": "220 mm"}, "effective_radius": "134 mm",
                  "pistons_per_side": ["30 mm", "34 mm", "38 mm"], "pad_area": "52 cm^2", "threshold_pressure": "0.4 bar"},
        "inertia": f"{INERTIA} kg m^2",
        "recordings": {"files": f"recordings/*.{suffix}", "format": form, "holds": "series",
                       "channels": {name: {"column": c, "unit": u} for name, (c, u) in units.items()}},
        "blocks": [{"name": "duty 1", "purpose": "duty", "kind": "snub", "stops": count, "speed": ["1500 rpm", "500 rpm"],
                    "pressure": "40 bar", "initial_temperature": "300 degC"}],
    }  # fmt: skip
    (folder / "test.yaml").write_text(yaml.safe_dump(card))
    return count


def measured(code: str) -> tuple[float, float]:
    """Seconds and peak resident memory (bytes) of a Python process that runs the code."""
    wrapped = f"{code}\nimport resource; print('peak', resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024)"
    begun = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", wrapped], check=True, capture_output=True, text=True)
    return time.perf_counter() - begun, float(done.stdout.rsplit("peak", 1)[1])


def run(room: Path, form: str, size: float) -> dict[str, Any]:
    from pipeline.method import Method, settings_of

    folder, into = room / "series-1", room / "results" / "first" / "tests" / "series-1"
    into.mkdir(parents=True)
    count = write_test(folder, form, size)
    channels, record = room / "channels.parquet", room / "channels.json"
    ingest = f"""
from pathlib import Path
from pipeline.recordings.stage import run
run(Path({str(folder)!r}), Path({str(channels)!r}), Path({str(record)!r}))"""
    reduce = f"""
from pathlib import Path
from pipeline.stops.stage import run
run(folder=Path({str(folder)!r}), channels=Path({str(channels)!r}), record=Path({str(record)!r}),
    settings={settings_of(Method(), "stops")!r}, into=Path({str(into)!r}))"""
    result: dict[str, Any] = {
        "bytes": sum(p.stat().st_size for p in (folder / "recordings").iterdir()),
        "cycles": count,
    }
    for name, code in (("channels", ingest), ("stops", reduce)):
        seconds, peak = measured(code)
        result[name] = {"seconds": round(seconds, 1), "peak_mb": round(peak / 1e6)}
    result["rows"] = json.loads(record.read_text())["recordings"][0]["rows"]
    stops = pl.read_parquet(into / "stops.parquet")
    result["stops_found"], result["stops_ok"] = stops.height, int((stops["status"] == "ok").sum())
    return result


def page(result: dict[str, Any], form: str) -> str:
    """The measurement as a page of the documentation."""
    rows = "\n".join(
        f"| `stopsheet {name}` | {result[name]['peak_mb']} MB | {result[name]['seconds']:.0f} s |"
        for name in ("channels", "stops")
    )
    return f"""# A series of several GB

One {form} recording of {result["bytes"] / 1e9:.2f} GB: {result["cycles"]} snubs at {RATE:.0f} Hz, {result["rows"]} rows of five channels, read and
reduced each in a process of its own (`python -m tests.benchmarks.series --format {form} --write`). All {result["stops_found"]} stops were found,
{result["stops_ok"]} of them ok. Peak memory is the highest resident size that the kernel saw; the times are of two cores shared with
other work.

| stage | peak memory | time |
|---|---|---|
{rows}
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--gigabytes", type=float, default=2.0)
    parser.add_argument("--format", choices=["delimited", "parquet"], default="delimited")
    parser.add_argument("--room", type=Path, default=None, help="folder for the recording; default: a temporary one")
    parser.add_argument("--write", action="store_true", help="write docs/series_benchmark.md")
    options = parser.parse_args()
    os.environ.setdefault("POLARS_MAX_THREADS", "2")
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    with tempfile.TemporaryDirectory(dir=options.room, prefix="series-") as room:
        result = run(Path(room), options.format, options.gigabytes * 1e9)
    print(json.dumps(result, indent=1))
    if options.write:
        Path("docs/series_benchmark.md").write_text(page(result, options.format), encoding="utf-8")


if __name__ == "__main__":
    main()
