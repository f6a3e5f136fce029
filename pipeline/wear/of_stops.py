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
from pipeline.heat.face_loss import bare
from pipeline.heat.of_card import Known, conductivity_of, heat_share_of, thermocouple_of
from pipeline.heat.propagation import INPUTS, NODE
from pipeline.method.wear import Wear
from pipeline.results.sources import HeatInput, InputName
from pipeline.results.summary import MissingStop
from pipeline.wear.cooling import Curve, fitted_curve, radiation_per_mass
from pipeline.wear.dwells import positions
from pipeline.wear.exposure import Exposure, Nodes, exposure, joined, kept, residence, warmer
from pipeline.wear.samples import samples_of
from pipeline.wear.surface import Excess, History, Plate, Samples, indicated, modelled

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
    inputs: tuple[HeatInput, ...] = ()  # heat inputs that the temperatures rest on: those of the exposure's nodes

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
    idle, idle_known = _idle(table)
    made = _Test(table, samples, force, idle, idle_known, _ambient(stops, samples.initial), card, temperature)
    plate = plate_of(card, settings)
    exposed, curve, excess = made.exposed(plate, heat_share_of(card, settings.heat_share).value)
    found = ExposureOfTest(
        stops=replace(exposed, nodes=made.nodes(plate, settings, exposed, excess)),
        run_number=table["run_number"].to_numpy(),
        block=table["block"].fill_null("").to_list(),
        purpose=table["purpose"].fill_null("").to_list(),
        filled=int(table["filled"].sum()),
        dwell_known=float(np.mean(idle_known)) if len(idle_known) else 1.0,
        surface="modelled" if isinstance(plate, Plate) else plate,
        curve=curve,
        inputs=inputs_of(card, settings, modelled=isinstance(plate, Plate)),
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


def inputs_of(card: Card, settings: Wear, *, modelled: bool) -> tuple[HeatInput, ...]:
    """Heat inputs that a test's temperatures rest on; where they are as indicated, the thermocouple alone."""
    known: dict[InputName, Known] = {"thermocouple": thermocouple_of(card)}
    if modelled:
        known["heat share"] = heat_share_of(card, settings.heat_share)
        known["conductivity"] = conductivity_of(card, settings.conductivity)
    return tuple(
        HeatInput(name=name, value=None if name == "thermocouple" else one.value, u=one.u, source=one.source)
        for name in INPUTS
        if (one := known.get(name)) is not None
    )


@dataclass(frozen=True)
class _Test:
    """A test's stops as arrays, ready to be exposed with one heat share and conductivity or another."""

    table: pl.DataFrame
    samples: Samples
    force: np.ndarray
    idle: np.ndarray
    idle_known: np.ndarray
    ambient: float
    card: Card
    temperature: str

    def exposed(
        self, plate: Plate | str, share: float, known: Excess | None = None
    ) -> tuple[Exposure, Curve | None, Excess | None]:
        """The stops' exposure with this plate and this share of the heat into the disc, the cool-down it goes by, and the
        surface's excess (`known`: not to be found again)."""
        samples, table, disc = self.samples, self.table, self.card.brake.disc
        energy = table["energy_kj"].to_numpy() * 1e3
        following = np.append(samples.initial[1:], np.nan)
        curve = fitted_curve(
            samples.initial,
            share * energy / disc.mass if disc.mass else np.zeros_like(energy),
            following,
            self.idle,
            samples.duration,
            (table["speed_start_rpm"].to_numpy(), table["speed_end_rpm"].to_numpy()),
            ambient=self.ambient,
            material=disc.heat_capacity or "carbon",
            radiation=radiation_per_mass(disc.emissivity, disc.cooled_area, disc.mass),
        )
        if isinstance(plate, Plate):
            history = modelled(samples, self.idle, following, plate, curve, known)
        else:
            history = indicated(samples, self.idle, following, curve)
        braking_s, dwell_s = _filled_histories(table, *_residences(history), self.idle_known)
        found = Exposure(
            energy_mj=energy / 1e6,
            force_distance_n_m=self.force,
            power_w_mm2=table["power_density_w_mm2"].to_numpy(),
            temperature_c=table[TEMPERATURE_COLUMN[self.temperature]].to_numpy(),
            braking_s=braking_s,
            dwell_s=dwell_s,
        )
        return found, curve, history.excess

    def nodes(self, plate: Plate | str, settings: Wear, exposed: Exposure, excess: Excess | None) -> Nodes:
        """The exposure with each heat input alone at its nodes. A thermocouple's bias moves all temperatures alike, another share
        of the heat all of the surface's excess."""
        bias = NODE * thermocouple_of(self.card).u
        found: dict[InputName, tuple[Exposure, Exposure]] = {
            "thermocouple": (warmer(exposed, -bias), warmer(exposed, bias))
        }
        if isinstance(plate, Plate) and excess is not None:
            low, high = (
                self.exposed(replace(plate, heat_share=plate.heat_share * f), plate.heat_share * f, excess.scaled(f))[0]
                for f in at_nodes(heat_share_of(self.card, settings.heat_share))
            )
            found["heat share"] = (low, high)
            low, high = (
                self.exposed(replace(plate, conductivity=plate.conductivity * f), plate.heat_share)[0]
                for f in at_nodes(conductivity_of(self.card, settings.conductivity))
            )
            found["conductivity"] = (low, high)
        return found


def at_nodes(known: Known) -> tuple[float, float]:
    """Factors on a heat input's value at its nodes."""
    return float(np.exp(-NODE * known.u)), float(np.exp(NODE * known.u))


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
        bare(disc.emissivity if disc.cooled_area else None, area, card.brake.friction_area),
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
