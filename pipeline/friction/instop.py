"""Friction inside a stop against friction between stops.

Two pictures of the same material: mu(t) against the disc temperature th(t) within stops, and the stops' means
against the stop's temperature. They differ because the rubbing surface outruns the thermocouple: within
seconds it is hundreds of kelvin above what an embedded or rubbing sensor shows, so that mu seems to climb
with a temperature that has hardly moved. Beside the measured rise stands the surface's, estimated for a half
space under the stop's own friction power (both faces of the swept ring, all heat into the disc; Carslaw and
Jaeger 2.9), which holds until the heat reaches the disc's middle.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.friction.map import FrictionMap
from pipeline.heat.capacity import heat_capacity
from pipeline.heat.halfspace import effusivity, rise_sampled
from pipeline.results.friction_history import InStop, InStopClass, InStopRise, SurfaceEstimate
from pipeline.results.model import renewed

FEWEST_POINTS, FEWEST_STOPS = 6, 3
CLASS_EDGES_C = (0, 100, 150, 200, 250, 300, 400, 500, 600, 700, 900)
CARBON_CONDUCTIVITY, CARBON_DENSITY = 30.0, 1780.0  # W/(m K) through the thickness, kg/m3 (common practice)
FAR_K = 10.0  # least in-stop temperature change that carries a slope
APART, ALIKE = 3.0, 0.015  # standard errors that are a difference; mu per 100 K too small to speak of
ZERO_C = 273.15


@dataclass(frozen=True)
class Disc:
    """What the surface estimate needs, SI; `assumed` names the values not on the card."""

    swept_area: float  # one face
    conductivity: float
    density: float
    heat_capacity: str | float
    half_thickness: float | None
    assumed: tuple[str, ...] = ()


def disc_of(card: Card) -> Disc | None:
    """The disc of a test card, carbon's usual values where it gives none; None without a friction ring."""
    if card.brake.swept_area is None:
        return None
    disc = card.brake.disc
    pairs = {"conductivity": disc.conductivity, "density": disc.density, "heat capacity": disc.heat_capacity}
    half = None if disc.thickness is None else disc.thickness / 2
    return Disc(
        card.brake.swept_area, disc.conductivity or CARBON_CONDUCTIVITY, disc.density or CARBON_DENSITY,
        disc.heat_capacity or "carbon", half, tuple(name for name, value in pairs.items() if value is None),
    )  # fmt: skip


def per_stop(stops: pl.DataFrame, traces: pl.DataFrame, disc: Disc | None) -> pl.DataFrame:
    """One row per stop with a usable trace: slopes of mu within it and the rises behind them.

    slope: mu per 100 K of measured disc temperature; surface_slope the same against the estimated surface;
    rise_k and surface_rise_k: temperature change over the window, measured and estimated; mu_change over the
    window.
    """
    initial = dict(stops.select("stop", "temperature_initial_c").iter_rows())
    rows = []
    for (stop,), trace in traces.sort("stop", "time_s").group_by(["stop"], maintain_order=True):
        inside = trace["mu"].is_finite().fill_null(False).to_numpy()
        t, th = trace["time_s"].to_numpy(), trace["disc_temperature_c"].to_numpy().astype(float)
        if stop not in initial or inside.sum() < FEWEST_POINTS or not np.isfinite(th[inside]).all():
            continue
        mu = trace["mu"].to_numpy()[inside].astype(float)
        row = {"stop": stop, "rise_k": float(np.ptp(th[inside])), "mu_change": float(mu[-1] - mu[0])}
        row["slope"] = slope_per_100k(th[inside], mu)
        surface = None if disc is None else surface_rise(t, trace, initial[stop], disc)
        if surface is not None:
            row |= {
                "surface_rise_k": float(surface[inside].max()),
                "surface_slope": slope_per_100k(surface[inside], mu),
            }
        rows.append(row)
    names = ("rise_k", "mu_change", "slope", "surface_rise_k", "surface_slope")
    return pl.DataFrame(rows, schema={"stop": pl.Int64, **dict.fromkeys(names, pl.Float64)})


def slope_per_100k(temperature: np.ndarray, mu: np.ndarray) -> float | None:
    """Least-squares slope of mu per 100 K; None where the temperature hardly changes."""
    if np.ptp(temperature) < FAR_K:
        return None
    away = temperature - temperature.mean()
    return float(100 * (away @ (mu - mu.mean())) / (away @ away))


def surface_rise(t: np.ndarray, trace: pl.DataFrame, initial_c: float | None, disc: Disc) -> np.ndarray | None:
    """Estimated surface rise in K over the initial temperature at every point of a trace; None where it
    lacks a value.
    """
    flux = (
        trace["torque_nm"].to_numpy().astype(float)
        * trace["speed_rpm"].to_numpy()
        * (np.pi / 30)
        / (2 * disc.swept_area)
    )
    braking = t >= 0
    if initial_c is None or braking.sum() < 3 or not np.isfinite(flux[braking]).all():
        return None
    # properties halfway between the start and a surface some hundreds of kelvin above it
    cp = float(heat_capacity(np.array(initial_c + ZERO_C + 150.0), disc.heat_capacity))
    rise = np.zeros(t.size)
    rise[braking] = rise_sampled(
        t[braking], np.maximum(flux[braking], 0.0), effusivity(disc.conductivity, disc.density, cp)
    )
    return rise


def in_stop(stops: pl.DataFrame, traces: pl.DataFrame, map_: FrictionMap | None, disc: Disc | None) -> InStop:
    """Slopes within and between stops by class of temperature, and the in-stop rise by class of energy
    density.
    """
    sound = stops.filter(
        pl.col("mu").is_finite() & (pl.col("status") == "ok") & pl.col("purpose").is_in(["map", "check"])
    )
    if traces.is_empty() or sound.is_empty():
        return InStop(why="no traces of map or check stops")
    each = per_stop(sound, traces.filter(pl.col("stop").is_in(sound["stop"].to_list())), disc)
    classes = by_temperature(sound.join(each, on="stop"), map_)
    return InStop(
        classes=classes,
        rise=by_energy(sound),
        disagreements=[c.text for c in classes if c.agrees is False and c.text],
        surface=None if disc is None else validity(disc),
        why=None if disc is not None else "no friction ring on the card: no surface estimate",
    )


def validity(disc: Disc) -> SurfaceEstimate:
    """How long the half space stands for the disc: a tenth of L^2 over the diffusivity, L half the
    thickness.
    """
    if disc.half_thickness is None:
        return SurfaceEstimate(assumed=list(disc.assumed), valid_why="the card gives no disc thickness")
    cp = float(heat_capacity(np.array(600.0), disc.heat_capacity))
    valid = 0.1 * disc.half_thickness**2 * disc.density * cp / disc.conductivity
    return SurfaceEstimate(assumed=list(disc.assumed), valid_s=valid)


def by_temperature(joined: pl.DataFrame, map_: FrictionMap | None) -> list[InStopClass]:
    """In-stop against between-stop slope (mu per 100 K) in each class of initial temperature."""
    found = []
    for low, high in pairwise(CLASS_EDGES_C):
        part = joined.filter(pl.col("temperature_initial_c").is_between(low, high, closed="left"))
        slopes = part["slope"].drop_nulls().to_numpy()
        if slopes.size < FEWEST_STOPS:
            continue
        value, u = float(np.median(slopes)), float(1.2533 * slopes.std(ddof=1) / np.sqrt(slopes.size))
        between, between_u = between_slope(map_, part)
        row = InStopClass(
            from_c=low,
            to_c=high,
            stops=int(slopes.size),
            in_stop_per_100k=value,
            in_stop_u=u,
            between_stops_per_100k=between,
            between_stops_u=between_u,
            rise_k=median(part["rise_k"]),
            surface_rise_k=median(part["surface_rise_k"]),
            in_stop_per_100k_surface=median(part["surface_slope"]),
        )
        if between is not None and between_u is not None:
            agrees = bool(abs(value - between) <= max(APART * np.hypot(u, between_u), ALIKE))
            row = renewed(row, agrees=agrees, text=None if agrees else explanation(row))
        found.append(row)
    return found


def between_slope(map_: FrictionMap | None, part: pl.DataFrame) -> tuple[float | None, float | None]:
    """Mean slope of the map (mu per 100 K) at the stops' temperatures with its standard uncertainty."""
    if map_ is None or map_.temperature_kind != "initial":
        return None, None
    t = part["temperature_initial_c"].to_numpy() + ZERO_C
    t = t[map_.support.temperatures_supported(t)]
    if t.size == 0:
        return None, None
    rows = map_.fit.slope_row(t)
    level = map_.mean(t, np.zeros((t.size, 3)))[0] if map_.link == "log" else np.ones(t.size)
    row = (level[:, None] * rows).mean(axis=0) * 100
    return float(row @ map_.fit.solved.coefficients), float(np.sqrt(map_.fit.variance(row[None, :])[0]))


def median(column: pl.Series) -> float | None:
    value = column.drop_nulls().median()
    return float(value) if isinstance(value, int | float) else None


def explanation(row: InStopClass) -> str:
    """Why the two slopes differ, by the figures there are."""
    span = f"{row.from_c:.0f} to {row.to_c:.0f} C: within stops mu changes by {row.in_stop_per_100k:+.3f} per 100 K, between stops by {row.between_stops_per_100k:+.3f}"
    surface, measured = row.surface_rise_k, row.rise_k
    if surface is None or measured is None or surface <= 1.2 * measured:
        return f"{span}; the surface estimate does not explain it: friction depends on more than temperature within the stop"
    return (
        f"{span}; the surface is estimated to rise by {surface:.0f} K while the sensor shows {measured:.0f} K, "
        f"and against the surface mu changes by {row.in_stop_per_100k_surface:+.3f} per 100 K"
    )


def by_energy(stops: pl.DataFrame) -> list[InStopRise]:
    """Quartiles of mu_end over mu_start by third of energy density and for cold and warm stops (below and
    from 200 C).
    """
    used = stops.filter(pl.col("mu_rise").is_finite() & pl.col("energy_density_j_mm2").is_finite())
    if len(used) < FEWEST_STOPS:
        return []
    edges = np.unique(np.quantile(used["energy_density_j_mm2"].to_numpy(), [0, 1 / 3, 2 / 3, 1]))
    found = []
    for low, high in pairwise(edges):
        last = high == edges[-1]
        part = used.filter(pl.col("energy_density_j_mm2").is_between(low, high, closed="both" if last else "left"))
        for name, warm in (("cold", False), ("warm", True)):
            rise = part.filter((pl.col("temperature_initial_c") >= 200) == warm)["mu_rise"].to_numpy()
            if rise.size >= FEWEST_STOPS:
                quartiles = np.quantile(rise, [0.25, 0.5, 0.75])
                found.append(
                    InStopRise(
                        energy_from_j_mm2=float(low),
                        energy_to_j_mm2=float(high),
                        state=name,
                        stops=int(rise.size),
                        rise=float(quartiles[1]),
                        rise_low=float(quartiles[0]),
                        rise_high=float(quartiles[2]),
                    )
                )
    return found
