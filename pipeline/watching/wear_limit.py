"""The wear readings taken so far, part by part, and whether each part lasts to the end of the program.

A part is at its minimum where its thinnest point is. Readings are left out and placed among the soaks as the stage `wear` does.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.errors import InputError
from pipeline.method.wear import Wear
from pipeline.wear.components import Component, component, spoken
from pipeline.wear.dwells import placed
from pipeline.wear.forecast import Loss, Outlook, outlook, scheduled_mj
from pipeline.wear.intervals import Intervals, intervals
from pipeline.wear.readings import beside_card, read_wear


class PartOutlook(NamedTuple):
    """A part as it stands: read after the stop of that number."""

    part: str
    read_after: int
    found: Outlook


def wear_so_far(folder: Path, card: Card, stops: pl.DataFrame, settings: Wear) -> tuple[list[PartOutlook], list[str]]:
    """The outlook of every part that was read twice or more, and in words of which there is none and why: also where the wear file
    cannot be used, which may be half written and is no fault.

    stops: as vocabulary.STOPS, as many as were run so far.
    """
    if not card.wear or not (folder / card.wear).is_file():
        return [], []
    try:
        readings, _ = read_wear(folder / card.wear, inside=folder)
    except InputError as error:
        return [], [str(error)]
    return outlooks(readings, card, stops, settings)


def outlooks(
    readings: pl.DataFrame, card: Card, stops: pl.DataFrame, settings: Wear
) -> tuple[list[PartOutlook], list[str]]:
    """As `wear_so_far`, of readings as `read_wear` gives them; those placed after the last stop are left out."""
    run = stops["run_number"].max() if stops.height else None
    if not isinstance(run, int):
        return [], []
    readings, _ = placed(readings.filter(pl.col("after_stop") <= run), card)
    found, without = [], []
    for name in sorted(set(readings["component"])):
        part, own = component(name, card), readings.filter(pl.col("component") == name)
        own, _ = beside_card(own, name, {"thickness": part.thickness, "mass": part.mass})
        measured = intervals(
            own,
            part,
            assumed_thickness=settings.thickness_u,
            assumed_mass=settings.mass_u,
            last_stop=float(run),
        )
        if measured is None:
            continue
        judged = _outlook(part, measured, card, stops, settings)
        if isinstance(judged, str):
            without.append(f"whether the {spoken(name)} lasts is not known: {judged}")
        else:
            found.append(PartOutlook(name, int(measured.to_stop[-1]), judged))
    return found, without


def _outlook(part: Component, measured: Intervals, card: Card, stops: pl.DataFrame, settings: Wear) -> Outlook | str:
    """The outlook of one part, or why there is none."""
    if part.usable_um is None:
        return "the card states no thickness and minimum_thickness of it"
    left = _left_um(part, measured)
    if left is None:
        return "it was not weighed before the first stop, so that what is left is not known; read its thickness"
    ahead = _ahead_mj(stops, card, int(measured.to_stop[-1])) if left > 0 else 0.0
    if ahead is None:
        return "a drag is ahead, and the card tells no duration of it, or neither pressure nor torque"
    judged = outlook(_losses(measured, stops), left, ahead, settings.confidence)
    return "no rate but that of bedding was read" if judged.lasts == "not known" else judged


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
    mu = stops["mu"].median()
    left = scheduled_mj(card, max(rows) + 1 if rows else 0, mu if isinstance(mu, float) else None)
    return None if left is None else float(since) / 1e3 + left


def _left_um(part: Component, measured: Intervals) -> float | None:
    """Thickness at the last reading above the minimum: of the thinnest point read, else (by mass) new less all that was lost."""
    if part.minimum_thickness is None or part.usable_um is None:
        return None
    if measured.points[-1].measured_by == "mass":
        return None if measured.from_stop[0] > 0 else part.usable_um - float(np.sum(measured.wear))
    return (float(np.nanmin(measured.last)) - part.minimum_thickness) * 1e6
