"""Generator of invented wear tests for the study of wear rates: programs of stops, their true losses, readings as written by hand.

It shares no model, code or default with the fits that it judges, nor with the demo scenario's simulator. Thickness falls
stop by stop; at each reading every point is read with the gauge's scatter, rounded to its scale, and written as text.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
import yaml

SCATTERS_UM = (5.0, 20.0, 50.0)
SCALES_MM = (0.01, 0.05)
KINDS = ("equal stops", "unlike stops", "every block its own rate")


@dataclass(frozen=True)
class Case:
    """What one archive is like: the gauge, how it was read, and the program."""

    scatter_um: float
    scale_mm: float
    repeats: int
    points: int
    intervals: int
    specimens: int
    kind: str
    common: bool  # half the scatter's variance is common to an occasion, which its repeats do not show
    spread: float  # true scatter between specimens


@dataclass(frozen=True)
class Made:
    """One test: folder with its card and wear.csv, stops table, true loss of each stop in um for this specimen (its
    readings fell by `lost`), and for the mean specimen."""

    folder: Path
    stops: pl.DataFrame
    lost: np.ndarray
    mean: np.ndarray
    energy_mj: np.ndarray
    after: np.ndarray


def case(rng: np.random.Generator, scatter: float, scale: float, repeats: int, intervals: int, specimens: int) -> Case:
    return Case(
        scatter, scale, repeats, int(rng.choice([1, 2, 4])), intervals, specimens, str(rng.choice(KINDS)),
        bool(rng.random() < 0.3), float(rng.uniform(0.02, 0.11)),
    )  # fmt: skip


def archive(of: Case, into: Path, rng: np.random.Generator) -> list[Made]:
    """The tests of one compound, written below `into`."""
    count = int(rng.integers(9, 31))
    energy, pace = _program(of, count, rng)
    rate = rng.uniform(9, 28)  # um/MJ, both faces
    mean = rate * energy * pace
    return [_test(of, into / f"spec-{s}", s, energy, mean, count, rng) for s in range(of.specimens)]


def _program(of: Case, count: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """(energy of each stop in MJ, its wear per MJ over the mean one's)."""
    level, pace = np.full(of.intervals, 0.2), np.ones(of.intervals)
    if of.kind != "equal stops":
        level = rng.uniform(0.08, 0.5, of.intervals)
    if of.kind == "every block its own rate":
        pace = np.exp(rng.normal(0, 0.45, of.intervals))
    energy = level.repeat(count) * rng.uniform(0.97, 1.03, of.intervals * count)
    return energy, pace.repeat(count)


def _test(of: Case, folder: Path, number: int, energy, mean, count: int, rng: np.random.Generator) -> Made:
    own = mean * np.exp(rng.normal(-(of.spread**2) / 2, of.spread))
    lost = own * rng.gamma(400, 1 / 400, len(own))
    after = np.arange(0, len(own) + 1, count)
    folder.mkdir(parents=True)
    (folder / "test.yaml").write_text(yaml.safe_dump(_card(number)))
    (folder / "wear.csv").write_text(_readings(of, np.concatenate([[0.0], np.cumsum(lost)])[after], after, rng))
    return Made(folder, _stops(energy, count, rng), lost, mean, energy, after)


def _readings(of: Case, gone: np.ndarray, after: np.ndarray, rng: np.random.Generator) -> str:
    place = rng.normal(0, 15, of.points)
    both = of.scatter_um / np.sqrt(2) if of.common else 0.0
    single = of.scatter_um / np.sqrt(2) if of.common else of.scatter_um
    start = rng.uniform(27_500, 28_500)
    lines = ["after_stop,component,quantity,point,value,unit"]
    for stop, fallen in zip(after, gone, strict=True):
        occasion = rng.normal(0, both) if both else 0.0
        for point, off in enumerate(place, 1):
            for _ in range(of.repeats):
                um = start - fallen + off + occasion + rng.normal(0, single)
                shown = round(um / 1e3 / of.scale_mm) * of.scale_mm
                lines.append(f"{stop},disc,thickness,{point},{shown:.2f},mm")
    return "\n".join(lines) + "\n"


def _stops(energy: np.ndarray, count: int, rng: np.random.Generator) -> pl.DataFrame:
    """Stops as reduced, with what a wear law asks for; from 900 rpm in 2 to 6 s at 0.35 to 0.5."""
    from pipeline.vocabulary import STOPS, conform

    n = len(energy)
    duration = np.sqrt(energy / 0.2) * 3.5 * rng.uniform(0.98, 1.02, n)
    block = np.arange(n) // count
    start = np.cumsum(duration + 80.0)
    initial = 260 + 10 * rng.normal(size=n)
    rise = energy * 1e6 / (2.1 * 1300)
    return conform(
        pl.DataFrame(
            {
                "stop": np.arange(1, n + 1), "run_number": np.arange(1, n + 1), "block": [f"use {b + 1}" for b in block],
                "purpose": ["duty"] * n, "kind": ["stop"] * n, "status": ["ok"] * n, "start_s": start, "end_s": start + duration,
                "duration_s": duration, "idle_before_s": np.full(n, 80.0), "energy_kj": energy * 1e3,
                "power_density_w_mm2": energy / duration / 9600 * 1e6, "mu": 0.42 + 0.02 * rng.normal(size=n),
                "pressure_bar": np.full(n, 35.0), "sliding_distance_m": 11.0 * duration, "temperature_initial_c": initial,
                "temperature_mean_c": initial + rise / 2, "temperature_end_c": initial + rise,
                "temperature_peak_c": initial + rise + 12,
            }
        ),
        STOPS,
    )  # fmt: skip


def _card(number: int) -> dict:
    channels = {"time": "s", "speed": "rpm", "torque": "N m", "pressure": "bar", "disc_temperature": "degC"}
    return {
        "schema": "1", "compound": "Invented", "batch": "I-1", "specimen": "ABC"[number], "date": "2026-01-05", "rig": "bench",
        "brake": {
            "friction_ring": {"outer_diameter": "330 mm", "inner_diameter": "236 mm"}, "effective_radius": "142 mm",
            "pistons_per_side": ["40 mm"], "pad_area": "48 cm^2", "pads": "2", "threshold_pressure": "0.3 bar",
            "disc": {"mass": "2.1 kg", "thickness": "28 mm", "minimum_thickness": "25 mm", "density": "1.8 g/cm^3",
                     "heat_capacity": "carbon", "heat_share": "100 %"},
            "pad": {"mass": "0.2 kg", "thickness": "20 mm", "minimum_thickness": "9 mm", "density": "1.8 g/cm^3"},
        },
        "inertia": "18 kg m^2",
        "recordings": {"files": "*.csv", "channels": {name: {"column": name, "unit": unit} for name, unit in channels.items()}},
        "blocks": [{"name": "use 1", "purpose": "duty", "kind": "stop", "stops": "10", "speed": ["900 rpm", "0 rpm"],
                    "pressure": "35 bar", "initial_temperature": "260 degC"}],
        "wear": "wear.csv",
    }  # fmt: skip
