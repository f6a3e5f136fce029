"""Faults that only the row of all stops shows, looked for with what the card and the channels file add to the stops."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.conditioning.channels_file import ChannelsFile
from pipeline.conditioning.conditioned import ConditionedTest
from pipeline.conditioning.stretches import recordings_in
from pipeline.conditioning.time_base import picking
from pipeline.constants import RAD_PER_S, ZERO_C
from pipeline.findings import Finding, finding
from pipeline.heat.capacity import heat_capacity
from pipeline.method import Method
from pipeline.results.record import Recording
from pipeline.results.summary import ChannelUnit
from pipeline.stops.alignment import Alignment, schedule
from pipeline.stops.clock import clock_jumps
from pipeline.stops.faults.balance import balance_findings
from pipeline.stops.faults.changes import (
    debonded,
    level_steps,
    swapped_thermocouples,
)
from pipeline.stops.faults.heat_witness import disc_by_heat
from pipeline.stops.faults.levels import level_findings
from pipeline.stops.faults.other_temperatures import other_temperatures, readings
from pipeline.stops.faults.start_temperatures import start_temperatures
from pipeline.stops.faults.units import starts_known, unit_findings, verified, witnesses_of
from pipeline.stops.faults.unlike import lone_levels, unlike_stops
from pipeline.stops.reduction import Setup

BAR = 1e5


class Shown(NamedTuple):
    """Findings of the table; those of temperatures that no figure rests on; each channel's unit and what vouches for
    it.
    """

    findings: list[Finding]
    of_other_temperatures: list[Finding]
    units: list[ChannelUnit]


def table_shows(
    stops: pl.DataFrame,
    test: ConditionedTest,
    method: Method,
    setup: Setup,
    levels: pl.DataFrame,
    alignment: Alignment,
    recordings: Sequence[Recording],
) -> Shown:
    """All that the finished table of stops tells of faults. levels: `schedule_levels`; recordings: the ingest
    record's.
    """
    card, channels = test.card, test.channels
    witnesses = witnesses_of(stops, levels, card, setup, method.reduction.plausible_mu)
    found = balance_findings(stops, test.found, card, method, alignment)
    found += [*unit_findings(stops, witnesses), *faults_across(stops, card, channels, recordings)]
    by_heat: list[str] | None = None
    if not starts_known(stops, levels):
        heat, by_heat = disc_by_heat(stops, card)
        found += heat
    slipped = any(f.code == "unit_slip" and f.channel == "disc_temperature" for f in found)
    others, other_units = other_temperatures(card, readings(card, channels), slipped)
    units = verified(stops, levels, card, witnesses, by_heat)
    if card.levels == "recordings":
        found.append(_no_schedule(units))
    return Shown(found, others, [*units, *other_units])


def _no_schedule(units: Sequence[ChannelUnit]) -> Finding:
    """That the levels are the recordings' own, and which units nothing then tells apart."""
    open_ = {one.channel: one.not_verifiable for one in units if one.not_verifiable}
    left = "; ".join(f"{name.replace('_', ' ')} might be in {' or '.join(several)}" for name, several in open_.items())
    text = f"the levels of the blocks were read off the recordings and vouch for no unit{': ' if left else ''}{left}"
    return finding("levels_from_recordings", text, evidence={"not_verifiable": open_})


def faults_across(
    stops: pl.DataFrame, card: Card, channels: ChannelsFile, recordings: Sequence[Recording]
) -> list[Finding]:
    """All of them, each with its stop and file where it strikes single stops.

    recordings: the ingest record's, duplicates left out. A conductance or cp that the card does not give is taken as
    constant: only changes within the test are looked at.
    """
    measured = stops.filter(pl.col("energy_kj").is_not_null() & pl.col("temperature_initial_c").is_not_null())
    warm = (pl.col("temperature_initial_c") + pl.col("temperature_peak_c")) / 2 + ZERO_C
    mean = measured.select(warm)["temperature_initial_c"].fill_null(300.0).to_numpy()
    levels = schedule_levels(card)
    starts = start_temperatures(stops, levels, card.recordings.channels["disc_temperature"].unit)
    found = [*level_steps(stops, levels), *lone_levels(stops, levels), *starts]
    found += [*level_findings(stops, levels, card), *unlike_stops(stops)]
    if not starts:  # a gain or a unit that begins within the test is no thermocouple that came loose
        found += debonded(measured, heat_capacity(mean, card.brake.disc.heat_capacity or 1000.0))
    rises = pad_and_disc_rises(card, channels)
    if rises is not None:
        found += swapped_thermocouples(stops, rises)
    first_stop = {r: s for r, s in stops.select("recording", "stop").sort("stop", descending=True).iter_rows()}
    first, last = [r.first_time for r in recordings], [r.last_time for r in recordings]
    return found + clock_jumps(first, last, [r.recording for r in recordings], [r.file for r in recordings], first_stop)


def schedule_levels(card: Card) -> pl.DataFrame:
    """row, wanted_bar, wanted_rpm, wanted_nm, wanted_s (a drag's), wanted_c of the expanded schedule: pressure and
    torque only where the rig holds them, the start's temperature only where it waits for one. All null where the levels were read
    off the recordings: they then say what these say, in whatever unit."""
    by_pressure = pl.when(pl.col("control") == "pressure").then(pl.col("pressure") / BAR)
    levels = schedule(card.blocks).select(
        pl.col("schedule_row").alias("row"),
        by_pressure.alias("wanted_bar"),
        (pl.col("speed_start") / RAD_PER_S).alias("wanted_rpm"),
        pl.when(pl.col("control") == "torque").then(pl.col("torque")).alias("wanted_nm"),
        pl.col("duration").alias("wanted_s"),
        (pl.col("temperature_initial") - ZERO_C).alias("wanted_c"),
    )
    return (
        levels
        if card.levels == "schedule"
        else levels.with_columns(pl.lit(None, pl.Float64).alias(c) for c in levels.columns[1:])
    )


def pad_and_disc_rises(card: Card, channels: ChannelsFile) -> pl.DataFrame | None:
    """recording, disc_k, pad_k: highest less first value in each one-stop recording; None where no pad channel is
    recorded.
    """
    if card.recordings.holds != "stop" or "pad_temperature" not in card.recordings.channels:
        return None
    if "pad_temperature" not in channels.names:
        return None
    first: dict[int, np.ndarray] = {}
    highest: dict[int, np.ndarray] = {}
    for part in channels.parts(["recording", "disc_temperature", "pad_temperature"]):
        both = [part[name].cast(pl.Float64).to_numpy() for name in ("disc_temperature", "pad_temperature")]
        for number, rows in recordings_in(part["recording"].to_numpy()):
            known = [values[rows][picking(~np.isnan(values[rows]))] for values in both]
            top = np.array([values.max() if values.size else np.nan for values in known])
            begun = np.array([values[0] if values.size else np.nan for values in known])
            earlier = first.get(number, begun)
            first[number] = np.where(np.isnan(earlier), begun, earlier)
            highest[number] = np.fmax(highest.get(number, top), top)
    rises = [(number, *(highest[number] - first[number]).tolist()) for number in first]
    told = [one for one in rises if not np.isnan(one).any()]
    return pl.DataFrame(told, schema={"recording": pl.Int64, "disc_k": pl.Float64, "pad_k": pl.Float64}, orient="row")
