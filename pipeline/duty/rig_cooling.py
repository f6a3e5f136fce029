"""How the rig's air cools the disc, from the pauses between stops.

The bulk temperature T1 at brake end follows from the stop's initial temperature and its friction heat, so
that neither the thermocouple's lag nor its place matters; T2 is the next stop's initial temperature. The
heat that left the disc between them is known, and so is what drove it:

    m (h(T1) - h(T2)) = g * integral (T - Ta) dt + e * sigma * integral (T^4 - Ta^4) dt

with g the convection of the whole disc (W/K) and e emissivity times area (m^2), both not negative. What the disc
loses while it brakes is counted as further time at T1 (`braking_as_cooling`). Ta is the recorded ambient of the stops
about the pause, where the test records one; an ambient 10 K off moves g by some 5 %. The integrals run over the path
between the two temperatures, which depends little on g and e: they are found by repeating the fit. Pauses that do not
cool like the others (a heater, a fan, a disc stood still) lose their weight. Radiation is fitted only where the
pauses span enough temperature to part it from convection and the card does not state it. Where the air was not
recorded, what it may have been is in g's interval.

g is the bulk's: right after a braking the rubbing face is hotter than the bulk and loses more than g (T - Ta) says,
so that g comes out larger than the face's own convection (3 % on the samples). The projection has the same bulk and
wants that g.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.constants import MAD_TO_SD, ZERO_C, Array, normal_reach
from pipeline.heat.air import recorded_ambient
from pipeline.heat.capacity import enthalpy, heated
from pipeline.heat.lumped import STEFAN_BOLTZMANN, Disc, braking_as_cooling
from pipeline.results.duty import RigCooling

LEAST_COOLDOWNS = 8
LEAST_DROP_K, LEAST_EXCESS_K = 25.0, 40.0
LONGEST_S = 3600.0
NODES = 33
AIR_K = 8.0  # limits of a test cell's air about the usual 22 degC, where it was not recorded (common practice)
REACH = normal_reach(0.95)
WIDE_K = 200.0  # pauses must span this much mean temperature before radiation is told from convection


@dataclass(frozen=True)
class Pauses:
    """Cool-downs between stops: K, K, s and the ambient in K, arrays [n]."""

    start: Array
    end: Array
    seconds: Array
    ambient: Array

    def __len__(self) -> int:
        return len(self.start)


def pauses_of(stops: pl.DataFrame, disc: Disc, share: float, ambient: float) -> Pauses:
    """The cool-downs of a test's stops; `share` of a stop's friction work goes into the disc; `ambient` in K where the
    test does not record it.
    """
    air = recorded_ambient(stops)
    stops = stops.with_columns(air_c=pl.lit(ambient - ZERO_C) if air is None else pl.col("ambient_c").fill_null(air))
    table = stops.sort("run_number", "stop").with_columns(
        next_air=pl.col("air_c").shift(-1),
        next_c=pl.col("temperature_initial_c").shift(-1),
        idle_s=pl.col("idle_before_s").shift(-1),
        consecutive=pl.col("run_number").shift(-1) - pl.col("run_number") == 1,
    )
    good = table.filter(
        pl.col("consecutive"),
        pl.col("idle_s").is_between(2.0, LONGEST_S),
        pl.col("energy_kj") > 0,
        pl.col("temperature_initial_c").is_between(-50, 1800),
        pl.col("next_c").is_between(-50, 1800),
        pl.col("duration_s") > 0,
    )
    columns = (
        "temperature_initial_c",
        "next_c",
        "idle_s",
        "duration_s",
        "energy_kj",
        "speed_start_rpm",
        "speed_end_rpm",
    )
    initial, following, idle, duration, energy, first, last = (good[n].to_numpy().astype(float) for n in columns)
    start = np.asarray(heated(initial + ZERO_C, share * energy * 1e3 / disc.mass, disc.material), float)
    end = following + ZERO_C
    around = (good["air_c"] + good["next_air"]).to_numpy().astype(float) / 2 + ZERO_C
    seconds = idle + braking_as_cooling(initial + ZERO_C, start, duration, around, first, last)
    cools = start - end > LEAST_DROP_K
    return Pauses(start[cools], end[cools], seconds[cools], around[cools])


def joined(parts: list[Pauses]) -> Pauses:
    """Pauses of several tests of one rig and disc."""
    return Pauses(
        *(
            np.concatenate([getattr(p, name) for p in parts] or [np.zeros(0)])
            for name in ("start", "end", "seconds", "ambient")
        )
    )


def ambient_of(tests: list[pl.DataFrame]) -> float:
    """Ambient in K where none is recorded: 22 degC, or the coldest start of a stop where that is lower."""
    coldest = [t["temperature_initial_c"].min() for t in tests if len(t)]
    known = [float(c) + ZERO_C for c in coldest if c is not None]  # type: ignore[arg-type]
    return min([295.15, *known])


def fit(pauses: Pauses, disc: Disc, *, stated: bool, recorded: bool = False) -> RigCooling | str:
    """Cooling of the disc on the rig, or why it cannot be told. `stated`: the card gives emissivity and area;
    `recorded`: the ambient of all pauses was.
    """
    warm = pauses.end - pauses.ambient > LEAST_EXCESS_K
    start, end, seconds, ambient = (getattr(pauses, name)[warm] for name in ("start", "end", "seconds", "ambient"))
    if len(start) < LEAST_COOLDOWNS:
        return (
            f"{len(start)} plain cool-downs between stops are too few to tell the rig's cooling "
            f"({LEAST_COOLDOWNS} needed)"
        )
    heat = disc.mass * (enthalpy(start, disc.material) - enthalpy(end, disc.material))
    middle = (start + end) / 2
    with_radiation = not stated and bool(np.ptp(np.quantile(middle, [0.05, 0.95])) > WIDE_K)
    g, e = float(np.median(heat / seconds / (middle - ambient))), disc.radiating
    weight = np.ones_like(heat)
    for _ in range(12):
        convection, radiation = _drives(start, end, seconds, ambient, g, e, disc)
        columns = np.column_stack([convection, radiation]) if with_radiation else convection[:, None]
        target = heat if with_radiation else heat - e * radiation
        scale = 1 / heat  # relative misfit: a long pause counts no more than a short one
        beta = _not_negative(columns * (weight * scale)[:, None], target * weight * scale)
        g, e = (beta[0], beta[1]) if with_radiation else (beta[0], e)
        misfit = (heat - g * convection - e * radiation) / heat
        spread = max(MAD_TO_SD * float(np.median(np.abs(misfit - np.median(misfit)))), 0.01)
        weight = np.sqrt(np.clip(1 - (misfit / (4.7 * spread)) ** 2, 0, None) ** 2)  # bisquare
    used = weight > 0.1
    if used.sum() < LEAST_COOLDOWNS or g <= 0:
        return "the pauses between stops do not cool alike: no cooling law of the rig can be told from them"
    se = _se(columns[used] * scale[used, None], misfit[used])
    if not recorded:
        se = float(np.hypot(se, g * AIR_K / np.sqrt(3) / np.median((middle - ambient)[used])))
    return RigCooling(
        g=g,
        low=max(0.0, g - REACH * se),
        high=g + REACH * se,
        g_u=se,
        radiating=e,
        radiating_fitted=with_radiation,
        pauses=int(used.sum()),
        left_out=int((~used).sum()),
        ambient=float(np.median(ambient)),
        ambient_recorded=recorded,
    )


def _drives(
    start: Array, end: Array, seconds: Array, ambient: Array, g: float, e: float, disc: Disc
) -> tuple[Array, Array]:
    """Integrals of T - Ta and of sigma (T^4 - Ta^4) over each pause, on the path of the present g and e."""
    x = np.linspace(0, 1, NODES)
    start, end, ambient = start[:, None], end[:, None], ambient[:, None]
    excess = (start - ambient) * ((end - ambient) / (start - ambient)) ** x
    t = ambient + excess
    loss = g * excess + e * STEFAN_BOLTZMANN * (t**4 - ambient**4)
    slope = np.gradient(np.asarray(enthalpy(t, disc.material), float), axis=1) * -disc.mass
    dt = slope / np.maximum(loss, 1e-9)
    dt *= (seconds / np.trapezoid(dt, axis=1))[:, None]
    convection = np.trapezoid(excess * dt, axis=1)
    radiation = np.trapezoid(STEFAN_BOLTZMANN * (t**4 - ambient**4) * dt, axis=1)
    return convection, radiation


def _not_negative(columns: Array, target: Array) -> Array:
    from scipy.optimize import nnls

    size = np.linalg.norm(columns, axis=0)
    return np.asarray(nnls(columns / size, target)[0], float) / size


def _se(columns: Array, misfit: Array) -> float:
    """Standard error of g from the scatter of the relative misfit."""
    df = max(len(misfit) - columns.shape[1], 1)
    covariance = np.linalg.pinv(columns.T @ columns) * float(misfit @ misfit) / df
    return float(np.sqrt(covariance[0, 0]))


def radiating_of(card: Card, emissivity: float) -> tuple[float, str]:
    """(emissivity x area in m^2, where it comes from) of the card's disc.

    The card's emissivity and cooled area; what is missing from the method's emissivity and both faces of
    the ring.
    """
    disc, ring = card.brake.disc, card.brake.swept_area
    area = disc.cooled_area or (2 * ring if ring else 0.0)
    if disc.emissivity is not None and disc.cooled_area:
        return disc.emissivity * disc.cooled_area, "card"
    return (disc.emissivity if disc.emissivity is not None else emissivity) * area, "assumed"
