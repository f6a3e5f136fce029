"""The line pressure that a duty's brakings need, and the disc after the last of them.

A braking of mean deceleration a asks this brake for the torque brake_share x vehicle_mass x a x rolling_radius. With mu of the
compound's map at the braking's own temperature, speed, energy density and pressure,

    p = threshold + torque / (2 mu piston_area efficiency radius)

is found by repeating, for mu may depend on p. Where these conditions lie outside what was tested there is no mu and no pressure.

Soak: the vehicle stands, so that convection is h0 alone; the bulk falls from the end of the settled cycle's last braking on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.archive.duties import DutyCycle
from pipeline.constants import RAD_PER_S, ZERO_C, Array
from pipeline.duty.cycle import Air, Events, History
from pipeline.duty.rubbing import attributed
from pipeline.friction import effects
from pipeline.friction.map import FrictionMap
from pipeline.heat import lumped
from pipeline.results.duty import LinePressure, Soak
from pipeline.stops.reduction import Setup

FIRST_MU, ROUNDS, CLOSE = 0.4, 60, 1e-6
SOAK_S = (60.0, 120.0, 300.0, 600.0)
NORMAL = 1.96


@dataclass(frozen=True)
class Pressing:
    """What turns friction into torque: the compound's map and the brake's geometry.

    factor: on the map's mu, of the batch that pressures are told for (None: of all together); factor_u: of its logarithm.
    """

    map_: FrictionMap
    setup: Setup
    batch: str | None = None
    factor: float = 1.0
    factor_u: float = 0.0
    why: str | None = None  # of the batch, in words

    @property
    def pooled(self) -> Pressing:
        """By the friction of all batches together."""
        return Pressing(self.map_, self.setup)


@dataclass(frozen=True)
class Needed:
    """Brakings at several openings [k e]: pressure in Pa, torque in N m, pressure above the threshold times mu in Pa, and whether the
    map has a value there."""

    pressure: Array
    torque: Array
    per_mu: Array
    valued: NDArray[np.bool_]


def needed(duty: DutyCycle, events: Events, kelvin: Array, pressing: Pressing) -> Needed:
    """The pressures of brakings that start at `kelvin` [k e], the cycle's as often as there are openings."""
    setup, map_ = pressing.setup, pressing.map_
    times = kelvin.size // len(events.energy)
    deceleration = np.tile((events.start - events.end) / events.brake_time, times)
    torque = duty.brake_share * duty.vehicle_mass * deceleration * duty.rolling_radius
    speed = np.tile(events.start / duty.rolling_radius, times)
    density = np.tile(events.energy / setup.friction_area, times)
    per_mu = torque / (2 * setup.piston_area * setup.efficiency * setup.radius)
    pressure = setup.threshold + per_mu / FIRST_MU
    for _ in range(ROUNDS):
        rows = effects.linear(pressure, speed, density, map_.reference, map_.choice.energy_form)
        mu = np.maximum(pressing.factor * map_.level(kelvin, rows), 0.01)
        before, pressure = pressure, setup.threshold + per_mu / mu
        if np.max(np.abs(pressure - before) / pressure) < CLOSE:
            break
    rows = effects.linear(pressure, speed, density, map_.reference, map_.choice.energy_form)
    valued = map_.supports(kelvin, np.where([name in map_.missing for name in effects.NAMES], 0.0, rows))
    return Needed(pressure, torque, per_mu, valued)


def line_pressures(
    duty: DutyCycle,
    events: Events,
    settled: History,
    kind: str,
    opening: int,
    pressing: Pressing,
    tested: NDArray[np.bool_] | None = None,
) -> list[LinePressure]:
    """One entry a braking of the settled cycle at one of its openings (index); tested [e]: where friction was tested (None: by the
    map's own ranges alone)."""
    setup, map_ = pressing.setup, pressing.map_
    deceleration = (events.start - events.end) / events.brake_time
    kelvin = attributed(settled, kind, opening) + ZERO_C
    speed, density = events.start / duty.rolling_radius, events.energy / setup.friction_area
    press = needed(duty, events, kelvin, pressing)
    torque, per_mu, pressure = press.torque, press.per_mu, press.pressure
    of_all = pressure if pressing.batch is None else needed(duty, events, kelvin, pressing.pooled).pressure
    found = map_.predict(kelvin, pressure, speed, density)
    bar, out = 1e-5, []
    for e in range(len(torque)):
        mu = pressing.factor * float(found.mu[e])
        u = pressing.factor * float(np.hypot(found.se[e], found.mu[e] * pressing.factor_u))
        known = bool(found.supported[e]) and (tested is None or bool(tested[e])) and mu > NORMAL * u > 0
        ends = [setup.threshold + per_mu[e] / (mu + side * NORMAL * u) for side in (1, -1)] if known else [None, None]
        where = (
            f"{kelvin[e] - ZERO_C:.0f} °C, {pressure[e] * bar:.0f} bar, {speed[e] / RAD_PER_S:.0f} rpm, "
            f"{density[e] / 1e6:.2g} J/mm2"
        )
        out.append(
            LinePressure(
                value=float(setup.threshold + per_mu[e] / mu) * bar if known else None,
                low=ends[0] * bar if ends[0] is not None else None,
                high=ends[1] * bar if ends[1] is not None else None,
                why=None if known else f"no friction is known there: {where} lies outside what was tested",
                deceleration_mps2=float(deceleration[e]),
                torque_nm=float(torque[e]),
                temperature_c=float(kelvin[e]) - ZERO_C,
                mu=mu if known else None,
                batch=pressing.batch,
                pooled_bar=float(of_all[e]) * bar if known and pressing.batch is not None else None,
            )
        )
    return out


def soak(settled: History, opening: int, disc: lumped.Disc, air: Air, upper_c: float | None) -> Soak:
    """Bulk temperatures after the settled cycle's last braking; `upper_c`: the window's upper end in degC."""
    start = float(settled.braking[-1, -1, opening])
    later = [
        float(lumped.advance(start, s, ambient=air.ambient, conductance=air.h0, disc=disc)) - ZERO_C for s in SOAK_S
    ]
    above = None
    if upper_c is not None:
        time = lumped.cooling_time(start, upper_c + ZERO_C, ambient=air.ambient, conductance=air.h0, disc=disc)
        above = float(time) if np.isfinite(time) else None
    return Soak(highest_c=start - ZERO_C, after_s=list(SOAK_S), temperature_c=later, seconds_above=above)
