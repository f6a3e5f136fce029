"""Exposure of a test's stops from its tables: stops, traces, summary and card.

Everything that the rig ran counts: rejected and aborted stops with their energy, missing recordings with the
schedule's. Where a stop lacks a figure its block's median stands in, and is counted.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.constants import ZERO_C
from pipeline.heat.air import recorded_ambient
from pipeline.heat.of_card import conductivity_of, heat_share_of
from pipeline.method.wear import Wear
from pipeline.results.summary import MissingStop
from pipeline.wear.cooling import Curve, fitted_curve, radiation_per_mass
from pipeline.wear.dwells import positions
from pipeline.wear.exposure import Exposure, exposure, joined, kept, residence
from pipeline.wear.samples import samples_of
from pipeline.wear.surface import History, Plate, indicated, modelled

TEMPERATURE_COLUMN = {
    "initial": "temperature_initial_c",
    "mean": "temperature_mean_c",
    "peak": "temperature_peak_c",
    "end": "temperature_end_c",
}
HOTTEST_C, COLDEST_C = 1800.0, -60.0
LAST_PAUSE_S = 3600.0
DWELL = "dwell"  # purpose of a row that is no stop but a soak without one


@dataclass(frozen=True)
class ExposureOfTest:
    """A test's exposure and what it rests on. Arrays [n], in the order run, missing recordings among them."""

    stops: Exposure
    run_number: np.ndarray
    block: list[str]
    purpose: list[str]
    filled: int  # stops whose energy is the schedule's or their block's
    dwell_known: float  # share of the pauses whose length is known
    surface: str  # "modelled" or why it is the indicated temperature
    curve: Curve | None

    @property
    def soaks(self) -> np.ndarray:
        """Which rows are soaks without a stop, bool [n]."""
        return np.array([p == DWELL for p in self.purpose], bool)

    @property
    def last(self) -> float:
        """Count of the last stop or dwell."""
        return float(self.run_number.max()) if len(self.run_number) else 0.0

    def usable(self, groups: np.ndarray, to_stop: np.ndarray) -> np.ndarray:
        """Which intervals [K] of groups [K, n] a law is fitted to: those of stops with work, or of a soak."""
        acts = (self.stops.energy_mj > 0) | self.soaks
        return np.asarray((to_stop <= self.last) & (groups @ acts > 0))


def exposure_of_test(
    stops: pl.DataFrame,
    traces: pl.DataFrame,
    missing: list[MissingStop],
    card: Card,
    settings: Wear,
    temperature: str,
) -> ExposureOfTest:
    """Exposure of all stops of a test; see the module's text. stops and traces as in docs/tables.md."""
    table = _table(stops, missing, card)
    samples, force = samples_of(table, traces, card.brake)
    energy = table["energy_kj"].to_numpy() * 1e3
    plate = plate_of(card, settings)
    idle, idle_known = _idle(table)
    following = np.append(samples.initial[1:], np.nan)
    disc = card.brake.disc
    curve = fitted_curve(
        samples.initial,
        heat_share_of(card, settings.heat_share).value * energy / disc.mass if disc.mass else np.zeros_like(energy),
        following,
        idle,
        samples.duration,
        (table["speed_start_rpm"].to_numpy(), table["speed_end_rpm"].to_numpy()),
        ambient=_ambient(stops, samples.initial),
        material=disc.heat_capacity or "carbon",
        radiation=radiation_per_mass(disc.emissivity, disc.cooled_area, disc.mass),
    )
    if isinstance(plate, Plate):
        why = "modelled"
        history = modelled(samples, idle, following, plate, curve)
    else:
        why = plate
        history = indicated(samples, idle, following, curve)
    braking_s, dwell_s = _residences(history)
    braking_s, dwell_s = _filled_histories(table, braking_s, dwell_s, idle_known)
    made = Exposure(
        energy_mj=energy / 1e6,
        force_distance_n_m=force,
        power_w_mm2=table["power_density_w_mm2"].to_numpy(),
        temperature_c=table[TEMPERATURE_COLUMN[temperature]].to_numpy(),
        braking_s=braking_s,
        dwell_s=dwell_s,
    )
    found = ExposureOfTest(
        stops=made,
        run_number=table["run_number"].to_numpy(),
        block=table["block"].fill_null("").to_list(),
        purpose=table["purpose"].fill_null("").to_list(),
        filled=int(table["filled"].sum()),
        dwell_known=float(np.mean(idle_known)) if len(idle_known) else 1.0,
        surface=why,
        curve=curve,
    )
    return with_dwells(found, card)


def with_dwells(test: ExposureOfTest, card: Card) -> ExposureOfTest:
    """The exposure with a row for each dwell, in the order run."""
    if not card.dwells or not len(test.run_number):
        return test
    seconds = np.array([one.duration for one in card.dwells])
    kelvin = np.array([one.temperature for one in card.dwells])
    time = np.column_stack([np.zeros_like(seconds), seconds])
    nothing = np.zeros(seconds.size)
    rows = exposure(
        nothing, force_distance_n_m=nothing, power_w_mm2=np.nanmedian(test.stops.power_w_mm2), temperature_c=kelvin - ZERO_C,
        dwell_s=residence(time, np.column_stack([kelvin, kelvin])),
    )  # fmt: skip
    number = np.r_[test.run_number.astype(float), positions(card.dwells)]
    order = np.argsort(number, kind="stable")
    every = joined([test.stops, rows])
    return replace(
        test, stops=kept(every, order), run_number=number[order],
        block=[[*test.block, *[""] * seconds.size][i] for i in order],
        purpose=[[*test.purpose, *[DWELL] * seconds.size][i] for i in order],
    )  # fmt: skip


def _table(stops: pl.DataFrame, missing: list[MissingStop], card: Card) -> pl.DataFrame:
    """Stops and missing recordings in the order run, with no null where a law needs a figure."""
    purpose: dict[str, tuple[str | None, str | None]] = {b.name: (b.purpose, b.kind) for b in card.blocks}
    rows = [
        {
            "run_number": lost.run_number,
            "block": lost.block,
            "purpose": purpose.get(lost.block, (None, None))[0],
            "kind": purpose.get(lost.block, (None, None))[1],
            "energy_kj": lost.energy_kj,
            "filled": True,
        }
        for lost in missing
    ]
    table = stops.with_columns(filled=pl.col("energy_kj").is_null(), run_number=pl.coalesce("run_number", "stop"))
    lost = pl.DataFrame(
        rows, schema={c: table.schema[c] for c in ("run_number", "block", "purpose", "kind", "energy_kj", "filled")}
    )
    table = pl.concat([table, lost], how="diagonal").sort("run_number")
    out_of_reason = [
        pl.when(pl.col(c).is_between(COLDEST_C, HOTTEST_C)).then(pl.col(c)).alias(c)
        for c in TEMPERATURE_COLUMN.values()
    ]
    table = table.with_columns(out_of_reason)
    needed = [
        "energy_kj",
        "duration_s",
        "power_density_w_mm2",
        "sliding_distance_m",
        "pressure_bar",
        *TEMPERATURE_COLUMN.values(),
    ]
    filled = [pl.coalesce(c, pl.col(c).median().over("block"), pl.col(c).median()).alias(c) for c in needed]
    return table.with_columns(filled).with_columns(
        pl.col("energy_kj").fill_null(0.0), pl.col("duration_s").fill_null(0.0)
    )


def plate_of(card: Card, settings: Wear) -> Plate | str:
    """The disc's ring as a plate, or why the surface cannot be modelled."""
    if not settings.surface_temperature:
        return "the method says indicated temperature"
    disc, area = card.brake.disc, card.brake.swept_area
    if area is None or disc.thickness is None or disc.mass is None or disc.heat_capacity is None:
        stated = {"friction_ring": area, "disc.thickness": disc.thickness, "disc.mass": disc.mass}
        stated |= {"disc.heat_capacity": 1.0 if disc.heat_capacity is not None else None}
        return f"the card gives no {', '.join(name for name, value in stated.items() if value is None)}"
    density = disc.density or disc.mass / (area * disc.thickness)
    return Plate(
        area,
        disc.thickness,
        disc.mass,
        conductivity_of(card, settings.conductivity).value,
        density,
        disc.heat_capacity,
        heat_share_of(card, settings.heat_share).value,
    )


def _idle(table: pl.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Seconds from each stop's brake end to the next stop (NaN where unknown), and which of the pauses are known.

    After the last stop the disc is given an hour to cool.
    """
    before = table["idle_before_s"].to_numpy().astype(float)
    idle = np.append(before[1:], LAST_PAUSE_S)[: len(before)]
    return np.where(idle >= 0, idle, np.nan), np.isfinite(idle[:-1])


def _residences(history: History) -> tuple[np.ndarray, np.ndarray]:
    """Seconds on the grid while braking and after it; being heated for the next stop is the next stop's."""
    dwell = np.sum([residence(*stretch) for stretch in history.after], axis=0)
    heating = residence(*history.heating)
    dwell[1:] += heating[:-1]
    return residence(*history.braking), dwell


def _ambient(stops: pl.DataFrame, initial: np.ndarray) -> float:
    """The recorded ambient in K; without one 22 degC, or just below the coldest start."""
    recorded = recorded_ambient(stops)
    if recorded is not None:
        return recorded + ZERO_C
    known = initial[np.isfinite(initial)]
    return float(min(295.15, known.min() - 1.0)) if known.size else 295.15


def _filled_histories(
    table: pl.DataFrame, braking_s: np.ndarray, dwell_s: np.ndarray, idle_known: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """A missing recording's history, and a pause of unknown length, is the mean of its block's known ones."""
    lost = table["stop"].is_null().to_numpy()
    block = np.array(table["block"].fill_null("").to_list())
    known = ~lost & np.append(idle_known, True)[: len(lost)]
    for i in np.flatnonzero(lost):
        like = ~lost & (block == block[i])
        like = like if like.any() else ~lost
        if like.any():
            braking_s[i] = braking_s[like].mean(axis=0)
    for i in np.flatnonzero(~known):
        like = known & (block == block[i])
        if like.any():
            dwell_s[i] = dwell_s[like].mean(axis=0)
    return braking_s, dwell_s
