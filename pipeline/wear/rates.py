"""Wear rates in the units the trade uses, from the readings themselves.

The loss between the first reading after bedding and the last one, over what the rig did in between:

    um_per_stop            loss / stops; per face: a disc's two share it
    mm3_per_mj             worn volume of the component / the brake's whole friction work
    mm3_per_n_m            worn volume of one face / integral of its normal force over the sliding distance
    mg_per_stop            volume x density / stops

What a soak without a stop took is no stop's: intervals between readings that hold one are left out, be there stops in them too; where
every interval holds one the rates say so.
"""

from __future__ import annotations

import numpy as np

from pipeline.results.model import Interval
from pipeline.results.wear import Rates, RateStops
from pipeline.wear.components import Component
from pipeline.wear.exposure import interval_groups
from pipeline.wear.intervals import Intervals
from pipeline.wear.misfit import ASSUMED_NOISE_DOF
from pipeline.wear.of_stops import ExposureOfTest

RATES = ("um_per_stop", "um_per_stop_per_face", "mm3_per_mj", "mm3_per_n_m", "mg_per_stop")


def rates(measured: Intervals, part: Component, test: ExposureOfTest, confidence: float) -> Rates:
    """Every rate, or None with its reason in `why`; `stops` says which stops count."""
    chosen, note = _after_bedding(measured, test)
    if chosen is None:
        return Rates(why=note)
    soaked = with_soaks(measured, test)
    notes = [note] if note else []
    if (chosen & ~soaked).any():
        chosen = chosen & ~soaked
    else:
        chosen = chosen & ~soaked_intervals(measured, test)
        if not chosen.any():
            return Rates(why="no interval between readings after the bedding holds a stop: soaks alone")
        notes.append("no interval between readings is free of soaks: what these took is in the rates")
    ones = chosen.astype(float)
    loss, u = float(ones @ measured.wear), float(np.sqrt(ones @ measured.covariance @ ones))
    half = spread(measured, confidence) * u
    first, last = int(measured.from_stop[chosen][0]), int(measured.to_stop[chosen][-1])
    group = interval_groups(test.run_number, measured.from_stop[chosen], measured.to_stop[chosen]).sum(axis=0)
    group = group * ~test.soaks
    count, work = float(group.sum()), float(group @ test.stops.energy_mj)
    path = float(group @ test.stops.force_distance_n_m)
    why = notes

    def per(amount: float | None, reason: str) -> Interval | None:
        if amount is None or not np.isfinite(amount) or amount <= 0:
            why.append(reason)
            return None
        return Interval(value=loss / amount, low=(loss - half) / amount, high=(loss + half) / amount)

    area = part.area * 1e6 if part.area else None  # mm2
    um = 1e-3 * area if area else None  # mm3 of the component per um of loss
    return Rates(
        um_per_stop=per(count, "no stops between the readings"),
        um_per_stop_per_face=per(count * part.faces, "no stops between the readings"),
        mm3_per_mj=per(work / um if um else None, "no friction work, or no friction area in the card"),
        mm3_per_n_m=per(
            path * part.force_share * part.faces / um if um else None, "no pressure, or no friction area in the card"
        ),
        mg_per_stop=per(
            count / (um * part.density * 1e-3) if um and part.density else None,
            "no density or friction area in the card",
        ),
        stops=RateStops(from_stop=first, to_stop=last, count=int(count), energy_mj=work),
        why="; ".join(dict.fromkeys(why)) or None,
    )


def soaked_intervals(measured: Intervals, test: ExposureOfTest) -> np.ndarray:
    """Intervals [K] that hold soaks and no stop: their loss is no stop's."""
    groups = interval_groups(test.run_number, measured.from_stop, measured.to_stop)
    return np.asarray((groups @ test.soaks > 0) & (groups @ ~test.soaks == 0))


def with_soaks(measured: Intervals, test: ExposureOfTest) -> np.ndarray:
    """Intervals [K] that hold a soak: not all of their loss is a stop's."""
    groups = interval_groups(test.run_number, measured.from_stop, measured.to_stop)
    return np.asarray(groups @ test.soaks > 0)


def _after_bedding(measured: Intervals, test: ExposureOfTest) -> tuple[np.ndarray | None, str | None]:
    bedding = [n for n, p in zip(test.run_number, test.purpose, strict=True) if p == "bedding"]
    end = max(bedding, default=0)
    known = measured.to_stop <= test.last
    after = (measured.from_stop >= end) & known
    if after.any():
        return after, None
    later = (measured.to_stop > end) & known
    if later.any():
        return later, "no reading at the end of bedding: part of the bedding is in the rates"
    return None, "no interval between readings lies after the bedding"


def spread(measured: Intervals, confidence: float) -> float:
    """Half-width of an interval over the readings' standard uncertainty, by what is known of that uncertainty's
    size.
    """
    if measured.residual is not None:
        variance, dof = measured.residual
        return coverage_factor(confidence, dof) * float(np.sqrt(variance))
    return coverage_factor(confidence, min(measured.dof, ASSUMED_NOISE_DOF) if measured.assumed else measured.dof)


def coverage_factor(confidence: float, dof: float) -> float:
    """Half-width of an interval over the standard uncertainty: Student's t, or the normal's for unlimited dof."""
    from scipy import special

    q = (1 + confidence) / 2
    return float(special.stdtrit(dof, q) if np.isfinite(dof) else special.ndtri(q))
