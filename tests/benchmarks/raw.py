"""An invented test as raw text for the benchmarks of speed: so many snubs, one delimited file each, ten columns.

At 255 stops of 5,000 rows it has some 98 MB. The rig lets the disc turn on after each braking, so rest, drag and build-up are all
there to be found; friction falls a little with temperature.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import yaml

RATE = 200.0
INERTIA = 26.0
RADIUS = 0.134
PISTONS = (0.030, 0.034, 0.038)
THRESHOLD_BAR = 0.4
AREA = 2 * sum(np.pi / 4 * d**2 for d in PISTONS)
STOPS, ROWS, A_BLOCK = 255, 5000, 17
CHANNELS = {
    "time": ("t", "s"),
    "speed": ("n", "rpm"),
    "torque": ("Mb", "N m"),
    "pressure": ("p", "bar"),
    "disc_temperature": ("T1", "degC"),
    "disc_temperature_2": ("T2", "degC"),
    "pad_temperature": ("T3", "degC"),
    "pressure_2": ("p2", "bar"),
    "ambient_temperature": ("Ta", "degC"),
    "air_speed": ("v", "m/s"),
}


def wanted(block: int) -> tuple[float, float]:
    """Pressure (bar) and initial temperature (degC) of a block."""
    return (20.0, 30.0, 40.0)[block % 3], 150.0 + 50.0 * (block // 3 % 5)


def snub(number: int, rows: int = ROWS) -> pl.DataFrame:
    """One snub from 1,500 rpm with what the rig does before and after it, in the file's units."""
    rng = np.random.default_rng(number)
    time = np.arange(rows) / RATE
    bar, celsius = wanted(number // A_BLOCK)
    mu = 0.42 - 0.08 * ((celsius - 320) / 300) ** 2 + 0.004 * rng.standard_normal()
    begin = 5.0
    level = bar * np.clip((time - begin) / 0.15, 0, 1)
    torque = mu * RADIUS * AREA * 1e5 * np.clip(level - THRESHOLD_BAR, 0, None)
    speed = 1500.0 - np.cumsum(torque) / RATE / INERTIA * 30 / np.pi
    end = float(time[np.argmax(speed < 900.0)])
    on = time < end
    level, torque = level * on, torque * on
    speed = np.where(on, speed, np.minimum(1500.0, 900.0 + 60.0 * (time - end)))
    warm = celsius + 80.0 * np.clip((time - begin) / (end - begin), 0, 1) * np.exp(-np.clip(time - end, 0, None) / 60.0)
    noise = rng.standard_normal((9, rows))
    columns = [
        speed + 0.2 * noise[0],
        torque + 5.0 + 2.0 * noise[1],
        level + 0.02 * noise[2],
        warm + 0.3 * noise[3],
        warm - 4.0 + 0.3 * noise[4],
        0.6 * warm + 40.0 + 0.3 * noise[5],
        level + 0.1 + 0.02 * noise[6],
        23.0 + 0.05 * noise[7],
        11.0 + 0.05 * noise[8],
    ]
    names = [column for column, _ in CHANNELS.values()]
    return pl.DataFrame(dict(zip(names, [number * 60.0 + time, *columns], strict=True)))


def write_test(folder: Path, stops: int = STOPS, rows: int = ROWS) -> int:
    """The test's folder with its card; bytes of its recordings."""
    (folder / "recordings").mkdir(parents=True)
    written = 0
    for number in range(stops):
        path = folder / "recordings" / f"{number + 1:05d}.csv"
        snub(number, rows).write_csv(path, float_precision=3)
        written += path.stat().st_size
    card = {
        "schema": 1,
        "compound": "Marram 4",
        "batch": "M4-2406",
        "specimen": "A",
        "date": "2026-03-02",
        "rig": "north",
        "brake": {
            "friction_ring": {"outer_diameter": "312 mm", "inner_diameter": "220 mm"},
            "effective_radius": f"{RADIUS * 1e3:.0f} mm",
            "pistons_per_side": [f"{d * 1e3:.0f} mm" for d in PISTONS],
            "pad_area": "52 cm^2",
            "threshold_pressure": f"{THRESHOLD_BAR} bar",
        },
        "inertia": f"{INERTIA} kg m^2",
        "recordings": {
            "files": "recordings/*.csv",
            "format": "delimited",
            "holds": "stop",
            "channels": {name: {"column": column, "unit": unit} for name, (column, unit) in CHANNELS.items()},
        },
        "blocks": [
            {
                "name": f"duty {at + 1}",
                "purpose": "duty",
                "kind": "snub",
                "stops": min(A_BLOCK, stops - at * A_BLOCK),
                "speed": ["1500 rpm", "900 rpm"],
                "pressure": f"{wanted(at)[0]:.0f} bar",
                "initial_temperature": f"{wanted(at)[1]:.0f} degC",
            }
            for at in range(-(-stops // A_BLOCK))
        ],
    }
    (folder / "test.yaml").write_text(yaml.safe_dump(card))
    return written
