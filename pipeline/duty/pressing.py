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

from pipeline.archive.duties import DutyCycle
from pipeline.constants import RAD_PER_S, ZERO_C
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
    """What turns friction into torque: the compound's map and the brake's geometry."""

    map_: FrictionMap
    setup: Setup


def line_pressures(
    duty: DutyCycle, events: Events, settled: History, kind: str, opening: int, pressing: Pressing
) -> list[LinePressure]:
    """One entry a braking of the settled cycle at one of its openings (index)."""
    setup, map_ = pressing.setup, pressing.map_
    deceleration = (events.start - events.end) / events.brake_time
    torque = duty.brake_share * duty.vehicle_mass * deceleration * duty.rolling_radius
    kelvin = attributed(settled, kind, opening) + ZERO_C
    speed, density = events.start / duty.rolling_radius, events.energy / setup.friction_area
    per_mu = torque / (2 * setup.piston_area * setup.efficiency * setup.radius)
    pressure = setup.threshold + per_mu / FIRST_MU
    for _ in range(ROUNDS):
        rows = effects.linear(pressure, speed, density, map_.reference, map_.choice.energy_form)
        mu = np.maximum(map_.mean(kelvin, rows)[0], 0.01)
        before, pressure = pressure, setup.threshold + per_mu / mu
        if np.max(np.abs(pressure - before) / pressure) < CLOSE:
            break
    found = map_.predict(kelvin, pressure, speed, density)
    bar, out = 1e-5, []
    for e in range(len(torque)):
        mu, u = float(found.mu[e]), float(found.se[e])
        known = bool(found.supported[e]) and mu > NORMAL * u > 0
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
