"""The wear readings taken so far, part by part, and whether each part lasts to the end of the program."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.errors import InputError
from pipeline.method.wear import Wear
from pipeline.wear.components import Component, component
from pipeline.wear.forecast import Loss, Outlook, outlook, scheduled_mj
from pipeline.wear.intervals import Intervals, cells, intervals
from pipeline.wear.readings import read_wear


class PartOutlook(NamedTuple):
    """A part as it stands: read after the stop of that number."""

    part: str
    read_after: int
    found: Outlook


def wear_so_far(folder: Path, card: Card, stops: pl.DataFrame, settings: Wear) -> tuple[list[PartOutlook], str | None]:
    """The outlook of every part with a minimum thickness and two readings or more, and why there is none where the wear file
    cannot be used: it may be half written too, so that is no fault.

    stops: as vocabulary.STOPS, as many as were run so far.
    """
    if not card.wear or not (folder / card.wear).is_file():
        return [], None
    try:
        readings, _ = read_wear(folder / card.wear, inside=folder)
    except InputError as error:
        return [], str(error)
    return outlooks(readings, card, stops, settings), None


def outlooks(readings: pl.DataFrame, card: Card, stops: pl.DataFrame, settings: Wear) -> list[PartOutlook]:
    """As `wear_so_far`, of readings as `read_wear` gives them; those placed after the last stop are left out."""
    run = stops["run_number"].max() if stops.height else None
    if not isinstance(run, int):
        return []
    readings = readings.filter(pl.col("after_stop") <= run)
    found = []
    for name in sorted(set(readings["component"])):
        part, own = component(name, card), readings.filter(pl.col("component") == name)
        measured = intervals(
            own,
            part,
            assumed_thickness=settings.thickness_u,
            assumed_mass=settings.mass_u,
            last_stop=float(run),
        )
        if measured is None or part.usable_um is None:
            continue
        ahead = _ahead_mj(stops, card, int(measured.to_stop[-1]))
        left = _left_um(own, part, measured)
        if ahead is not None and left is not None:
            read_after = int(measured.to_stop[-1])
            judged = outlook(_losses(measured, stops), left, ahead, settings.confidence)
            found.append(PartOutlook(name, read_after, judged))
    return found


def _losses(measured: Intervals, stops: pl.DataFrame) -> list[Loss]:
    rows = stops.select("run_number", "purpose", energy=_energy()).drop_nulls("run_number")
    found = []
    for at, (low, high) in enumerate(zip(measured.from_stop, measured.to_stop, strict=True)):
        own = rows.filter((pl.col("run_number") > int(low)) & (pl.col("run_number") <= int(high)))
        bedding = own.height > 0 and bool((own["purpose"] == "bedding").all())
        found.append(Loss(float(measured.wear[at]), float(measured.u[at]), float(own["energy"].sum()) / 1e3, bedding))
    return found


def _energy() -> pl.Expr:
    """Friction work (kJ); where it is not known that of the shaft, else the middle one of all stops."""
    return pl.coalesce("energy_kj", "kinetic_energy_kj").fill_null(pl.col("energy_kj").median())


def _ahead_mj(stops: pl.DataFrame, card: Card, read_after: int) -> float | None:
    """Friction work between a reading and the program's end: of the stops run since, and of those still to come."""
    since = stops.select("run_number", energy=_energy()).filter(pl.col("run_number") > read_after)["energy"].sum()
    rows: Sequence[int] = stops["schedule_row"].drop_nulls().to_list()
    left = scheduled_mj(card.blocks, card.inertia, max(rows) + 1 if rows else 0)
    return None if left is None else float(since) / 1e3 + left


def _left_um(own: pl.DataFrame, part: Component, measured: Intervals) -> float | None:
    """Thickness at the last reading above the minimum: of the readings of thickness, else new less what was lost."""
    if part.minimum_thickness is None or part.usable_um is None:
        return None
    thickness = own.filter(pl.col("quantity") == "thickness")
    if thickness["after_stop"].n_unique() < 2:
        return part.usable_um - float(np.sum(measured.wear))
    _, _, mean, _ = cells(thickness)
    return (float(np.nanmean(mean[-1])) - part.minimum_thickness) * 1e6
