"""Raw archives of the compounds whose friction is made at the face: cards and recordings as a rig leaves them.

    folders = face_files.write(made, archive, seed)      # one test folder a specimen

A recording is one stop, sampled at RATE: the disc at rest temperature before, the braking, the pressure let go, the disc evening
out after. Each channel has noise and the digits of a recorder.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import yaml

from tests.studies.face_compounds import Made, program

RATE = 100.0  # Hz
BEFORE_S, RELEASE_S, AFTER_S = 2.0, 0.15, 2.0
NOISE = {"speed_rpm": 0.4, "torque_nm": 2.0, "pressure_bar": 0.03, "disc_temperature_c": 0.3}
DIGITS = {"time_s": 3, "speed_rpm": 1, "torque_nm": 1, "pressure_bar": 2, "disc_temperature_c": 1}
CHANNELS = {
    "time": ("time_s", "s"),
    "speed": ("speed_rpm", "rpm"),
    "torque": ("torque_nm", "N m"),
    "pressure": ("pressure_bar", "bar"),
    "disc_temperature": ("disc_temperature_c", "degC"),
}


def write(made: Made, archive: Path, seed: int, *, compound: str = "Face 1", name: str = "face") -> list[Path]:
    """Write the compound's tests below `archive`, one folder a specimen; returns the folders."""
    rng = np.random.default_rng(seed)
    folders = []
    for (_test,), rows in (
        made.stops.with_row_index("row").partition_by("test", as_dict=True, maintain_order=True).items()
    ):
        folder = archive / f"{name}-{rows['specimen'][0].lower()}"
        (folder / "recordings").mkdir(parents=True, exist_ok=True)
        facts = card(made, compound, rows["batch"][0], rows["specimen"][0])
        (folder / "test.yaml").write_text(yaml.safe_dump(facts, sort_keys=False), encoding="utf-8")
        for row in rows.iter_rows(named=True):
            recording(made, row["row"], rng).write_csv(folder / "recordings" / f"stop_{row['stop']:03d}.csv")
        folders.append(folder)
    return folders


def recording(made: Made, row: int, rng: np.random.Generator) -> pl.DataFrame:
    """What the recorder wrote of one stop."""
    trace = made.trace(row)
    end = trace["time_s"][-1]
    time = np.arange(0.0, BEFORE_S + end + RELEASE_S + AFTER_S, 1 / RATE)
    at = time - BEFORE_S
    held = {name: np.interp(at, trace["time_s"], trace[name]) for name in NOISE}
    let_go = np.clip(1 - (at - end) / RELEASE_S, 0, 1)
    before = at < 0
    for name in ("torque_nm", "pressure_bar"):
        held[name] = np.where(before, 0.0, held[name] * let_go)
    slope = held["torque_nm"] / made.compound.brake.inertia * 30 / np.pi
    held["speed_rpm"] = np.where(
        at <= end, held["speed_rpm"], held["speed_rpm"] - np.cumsum(np.where(at > end, slope, 0.0)) / RATE
    )
    even = trace["bulk_c"][-1] + (trace["disc_temperature_c"][-1] - trace["bulk_c"][-1]) * np.exp(
        -np.maximum(at - end, 0) / 2.0
    )
    held["disc_temperature_c"] = np.where(at <= end, held["disc_temperature_c"], even)
    noisy = {name: held[name] + rng.normal(0, sd, time.size) for name, sd in NOISE.items()}
    return pl.DataFrame({"time_s": time} | noisy).with_columns(pl.col(name).round(n) for name, n in DIGITS.items())


def card(made: Made, compound: str, batch: str, specimen: str) -> dict[str, Any]:
    """test.yaml of one specimen."""
    brake, disc = made.compound.brake, made.compound.disc
    mm = lambda metres: f"{1000 * metres:.2f} mm"  # noqa: E731
    mass = disc.density * brake.ring * disc.thickness
    blocks: list[dict[str, Any]] = []
    # one block of a schedule has one temperature, so a step of the temperature is a block of its own
    last = None
    for name, purpose, celsius, bar, rpm in program(made.compound):
        if (name, celsius) != last:
            last = (name, celsius)
            blocks.append(
                {
                    "name": name if purpose == "check" else f"{name} at {celsius:.0f}",
                    "purpose": purpose,
                    "kind": "snub",
                    "stops": 0,
                    "speed": [f"{rpm:.1f} rpm", f"{rpm / 3:.1f} rpm"],
                    "pressure": f"{bar:.2f} bar",
                    "initial_temperature": f"{celsius:.0f} degC",
                }
            )
        blocks[-1]["stops"] += 1
    return {
        "schema": 1, "compound": compound, "batch": batch, "specimen": specimen, "date": "2026-01-05", "rig": "bench",
        "brake": {
            "friction_ring": {"outer_diameter": mm(brake.ring_outer), "inner_diameter": mm(brake.ring_inner)},
            "effective_radius": mm(brake.radius), "pistons_per_side": [mm(brake.piston)],
            "pad_area": f"{1e4 * brake.pad_area:.2f} cm^2", "pads": 2,
            "disc": {
                "mass": f"{mass:.3f} kg", "thickness": mm(disc.thickness), "minimum_thickness": mm(disc.thickness - 0.004),
                "density": f"{disc.density / 1000:.3f} g/cm^3", "heat_capacity": "carbon",
            },
            "pad": {"mass": "0.2 kg", "thickness": "22 mm", "minimum_thickness": "9 mm", "density": "1.78 g/cm^3"},
        },
        "inertia": f"{brake.inertia:g} kg m^2",
        "recordings": {
            "files": "recordings/*.csv", "format": "delimited", "holds": "stop",
            "channels": {name: {"column": column, "unit": unit} for name, (column, unit) in CHANNELS.items()},
            "sensors": {
                "torque": {"full_scale": "3000 N m", "accuracy": "0.1 %"},
                "pressure": {"full_scale": "100 bar", "accuracy": "0.1 %"},
            },
        },
        "blocks": blocks,
    }  # fmt: skip
