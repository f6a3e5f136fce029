"""Wear readings: thickness per point and mass, with repeats, as a bench measures them."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from rig_samples.simulator.brake import Brake
from rig_samples.simulator.material import Material


@dataclass(frozen=True)
class Gauge:
    """Repeatability of the bench and how the parts are measured."""

    thickness_um: float = 2.5
    mass_g: float = 0.03
    points: int = 6
    repeats: int = 2
    taper: float = 0.06  # of a pad's wear, between its first and last point
    shape_um: float = 12.0  # spread of a new part's thickness over its points


def true_wear(stops: pl.DataFrame, material: Material, brake: Brake) -> pl.DataFrame:
    """Thickness (um) and mass (g) lost by each part up to and including each stop.

    `stops` has energy_kj, oxidation_um (braking) and oxidation_before_um (the dwell ahead of the stop).
    The reading after the last stop of an interval is taken when the disc has cooled, so the dwell after
    that stop belongs to the interval: column `oxidation_after_um`.
    """
    energy = stops["energy_kj"].to_numpy() * 1e-3
    mechanical = np.cumsum(material.disc_wear_um_mj * energy)
    oxidised = np.cumsum(
        stops["oxidation_um"].to_numpy()
        + stops["oxidation_before_um"].to_numpy()
        + stops["oxidation_after_um"].to_numpy()
    )
    pad = np.cumsum(material.pad_wear_um_mj * energy)
    disc_volume = brake.ring_area * 1e-6 * (mechanical + (1.0 + material.internal_oxidation) * oxidised)
    pad_volume = brake.pad_area_cm2 * 1e-4 * 1e-6 * pad
    return pl.DataFrame(
        {
            "after_stop": stops["stop"],
            "disc_um": mechanical + oxidised,
            "disc_mechanical_um": mechanical,
            "disc_oxidation_um": oxidised,
            "disc_g": disc_volume * material.density_kg_m3 * 1e3,
            "pad_inner_um": pad,
            "pad_outer_um": pad * 0.96,
            "pad_inner_g": pad_volume * material.density_kg_m3 * 1e3,
            "pad_outer_g": pad_volume * 0.96 * material.density_kg_m3 * 1e3,
        }
    )


def readings(
    lost: pl.DataFrame, at_stops: list[int], brake: Brake, gauge: Gauge, rng: np.random.Generator
) -> pl.DataFrame:
    """wear.csv as the bench writes it: one reading per row, at 0 and after each of `at_stops`."""
    new = {
        "disc": (brake.disc_thickness_mm, brake.disc_mass_kg),
        "pad_inner": (brake.pad_thickness_mm, brake.pad_mass_kg),
        "pad_outer": (brake.pad_thickness_mm, brake.pad_mass_kg),
    }
    shape = {part: rng.normal(0.0, gauge.shape_um, gauge.points) for part in new}
    rows = []
    for after in [0, *at_stops]:
        gone = lost.filter(pl.col("after_stop") == after).row(0, named=True) if after else None
        for part, (thickness, mass) in new.items():
            lost_um = gone[f"{part}_um"] if gone else 0.0
            lost_g = gone[f"{part}_g"] if gone else 0.0
            taper = gauge.taper if part != "disc" else 0.0
            for point in range(1, gauge.points + 1):
                lean = 1.0 + taper * ((point - 1) / (gauge.points - 1) - 0.5)
                at_point = thickness * 1e3 + shape[part][point - 1] - lost_um * lean
                for _ in range(gauge.repeats):
                    value = (at_point + rng.normal(0.0, gauge.thickness_um)) * 1e-3
                    rows.append((after, part, "thickness", point, f"{value:.4f}", "mm", "dry"))
            for _ in range(gauge.repeats):
                value = mass * 1e3 - lost_g + rng.normal(0.0, gauge.mass_g)
                rows.append((after, part, "mass", 1, f"{value:.2f}", "g", "dry"))
    columns = ["after_stop", "component", "quantity", "point", "value", "unit", "state"]
    return pl.DataFrame(rows, schema=columns, orient="row")
