"""The disc temperature's unit where the schedule wants no start temperatures: by what the disc can have done.

The friction work warms the disc by at most

    rise <= work / (mass x heat capacity at the mean temperature)

and a disc starts neither below the freezing point nor above what friction materials bear. So a rise of well over what
all the work could give, or starts below freezing, are no temperatures in the unit stated: degF labelled degC swells
every rise by 1.8. The bound is one-sided, as pads, air and radiation take an unknown part (common practice), so that
a unit that shrinks the rise passes unseen where its starts stay possible; the test then says that it cannot be
verified.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.constants import ZERO_C
from pipeline.findings import Finding, finding, of_each
from pipeline.heat.capacity import heat_capacity
from pipeline.inputs.unit_slips import Slip, slips
from pipeline.stops.faults.stretch_search import best_stretch, bounded, left_open

MOST = 1.35  # of the rise that all the work would give: gradients in the disc and the properties' own spread
STARTS_C = (0.0, 1000.0)
RATIO_TOLERANCE, TOLERANCE_K = 0.1, 10.0
LEAST_STOPS, LEAST_SCORE, LEAST_GAINED, LEFT = 4, 2.2, 0.4, 0.3


def disc_by_heat(stops: pl.DataFrame, card: Card) -> tuple[list[Finding], list[str]]:
    """Findings of the test and of each stop in doubt, and the units that the disc temperature might as well be in."""
    unit = card.recordings.channels["disc_temperature"].unit
    cost = {slip: _cost(stops, card, slip) for slip in (None, *slips("temperature", unit))}
    as_is = cost.pop(None)
    known = np.isfinite(as_is)
    found: list[tuple[float, Slip, int, int]] = []
    left = []
    for slip, corrected in cost.items():
        assert slip is not None
        gain = np.where(known & np.isfinite(corrected), as_is - corrected, 0.0)
        n = int(known.sum())
        if left_open(-gain[known], LEAST_GAINED, LEAST_STOPS):
            left.append(slip.actual)
        if n < LEAST_STOPS:
            continue
        first, last, score = best_stretch(gain)
        inside = known[first : last + 1]
        clear = score >= max(LEAST_SCORE, LEAST_GAINED * inside.sum())
        if clear and inside.sum() >= LEAST_STOPS and np.nanmean(corrected[first : last + 1]) <= LEFT:
            found.append((score, slip, first, last))
    return (_told(stops, found), left) if found else ([], left)


def _cost(stops: pl.DataFrame, card: Card, slip: Slip | None) -> np.ndarray:
    """Cost of each stop (n,) if the temperatures are in the slip's unit (None: as stated); NaN where nothing is
    known.
    """

    def true(name: str) -> np.ndarray:
        read = stops[name].cast(pl.Float64).fill_null(float("nan")).to_numpy().astype(float)
        return read if slip is None else (read + ZERO_C - slip.offset) / slip.factor - ZERO_C

    start, end = true("temperature_initial_c"), true("temperature_final_c")
    off = np.maximum(np.maximum(STARTS_C[0] - start, start - STARTS_C[1]), 0.0) / TOLERANCE_K
    cost = np.where(np.isfinite(start), bounded(off, 1.0), np.nan)
    disc = card.brake.disc
    if disc.mass is None or disc.heat_capacity is None:
        return cost
    work = 1e3 * stops["energy_kj"].cast(pl.Float64).fill_null(float("nan")).to_numpy().astype(float)
    middle = np.clip(np.nan_to_num((start + end) / 2 + ZERO_C, nan=300.0), 250.0, 3000.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = (end - start) * disc.mass * heat_capacity(middle, disc.heat_capacity) / work
        over = np.log(np.maximum(ratio, MOST) / MOST)
    return cost + np.where(np.isfinite(ratio) & (work > 0), bounded(over, RATIO_TOLERANCE), 0.0)


def _told(stops: pl.DataFrame, found: list[tuple[float, Slip, int, int]]) -> list[Finding]:
    score, slip, first, last = max(found, key=lambda one: one[0])
    rivals = [other for s, other, *_ in found if other != slip and s > 0.9 * score]
    causes = [{"cause": f"disc temperature in {s.text}", "factor": s.factor} for s in (slip, *rivals)]
    whole = last - first + 1 >= 0.9 * stops.height
    struck = stops if whole else stops[first : last + 1]
    where = "in the whole test" if whole else f"in stops {struck['stop'][0]} to {struck['stop'][-1]}"
    text = f"{causes[0]['cause']} {where}, by the rise that the work can give and possible starts" + "".join(
        f". Or: {c['cause']}" for c in causes[1:]
    )
    evidence = {"ratio": slip.factor, "actual": slip.actual, "labelled": slip.labelled, "candidates": causes}
    return [
        finding("unit_slip", text, channel="disc_temperature", evidence=evidence),
        *of_each(
            struck.select("stop", "file").iter_rows(),
            "unit_slip",
            str(causes[0]["cause"]),
            channel="disc_temperature",
            evidence={"ratio": slip.factor},
        ),
    ]
