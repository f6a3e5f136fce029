"""The stops of a card as planned, with what they would expose the surface to: nothing is measured yet."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.archive.block import Block
from pipeline.archive.card import Card
from pipeline.constants import ZERO_C
from pipeline.errors import InputError
from pipeline.heat import lumped
from pipeline.heat.capacity import heated
from pipeline.heat.of_card import conductivity_of, heat_share_of, thermocouple_of
from pipeline.heat.propagation import NODE
from pipeline.method.wear import Wear
from pipeline.wear.cooling import fitted_curve, radiation_per_mass
from pipeline.wear.exposure import Exposure, Nodes, residence, warmer
from pipeline.wear.of_stops import at_nodes, plate_of
from pipeline.wear.surface import Plate, Samples, modelled

AMBIENT_K = 295.15
SPIN_UP_S = 8.0  # least time between two stops
HEATING_K_S = 5.0
DRAG_S = 10.0
SAMPLES = 40


@dataclass(frozen=True)
class Assumed:
    """What has to be assumed before anything was measured."""

    mu: float = 0.4
    cooling_w_k: float = 20.0
    mechanical_um_mj: float = 7.0
    oxidation_um_s: float = 0.02  # at th0
    activation_kj_mol: float = 150.0
    power_exponent: float = 0.5
    regime_ratio: float = 2.0


def planned_stops(card: Card, assumed: Assumed, settings: Wear) -> Exposure:
    """Exposure of the card's stops as planned, and with each heat input at its nodes. Raises InputError where the card lacks the disc's
    facts."""
    plate = plate_of(card, settings)
    if not isinstance(plate, Plate):
        raise InputError(f"test.yaml: the planned wear cannot be worked out: {plate}")
    disc = card.brake.disc
    bulk = lumped.Disc(plate.mass, plate.material, (disc.emissivity or 0.0) * (disc.cooled_area or 0.0))
    rows, now = [], AMBIENT_K
    for block in card.blocks:
        energy, duration, path = braking(block, card, assumed)
        for k in range(block.stops):
            idle, now = _pause(block, k, now, duration, bulk, assumed)
            rows.append((energy, duration, path, now, idle))
            now = float(heated(now, plate.heat_share * energy / plate.mass, plate.material))
    energy, duration, path, initial, before = np.array(rows, float).T
    pauses = np.append(before[1:], 3600.0)

    def exposed(**changed: float) -> Exposure:
        return _exposed(energy, duration, path, initial, pauses, replace(plate, **changed), card)

    made = exposed()
    bias = NODE * thermocouple_of(card).u
    share = [plate.heat_share * factor for factor in at_nodes(heat_share_of(card, settings.heat_share))]
    through = [plate.conductivity * factor for factor in at_nodes(conductivity_of(card, settings.conductivity))]
    nodes: Nodes = {
        "thermocouple": (warmer(made, -bias), warmer(made, bias)),
        "heat share": (exposed(heat_share=share[0]), exposed(heat_share=share[1])),
        "conductivity": (exposed(conductivity=through[0]), exposed(conductivity=through[1])),
    }
    return replace(made, nodes=nodes)


def braking(block: Block, card: Card, assumed: Assumed) -> tuple[float, float, float]:
    """(friction work J, brake time s, clamp force x distance N m) of a stop of the block."""
    brake = card.brake
    ring = brake.friction_ring
    radius = brake.effective_radius or (ring.outer_diameter + ring.inner_diameter) / 4  # type: ignore[union-attr]
    force = brake.efficiency * max((block.pressure or 0.0) - brake.threshold_pressure, 0.0) * brake.piston_area
    torque = 2 * assumed.mu * force * radius
    if block.control == "torque" and block.torque:
        torque = block.torque
    if block.control == "deceleration" and block.deceleration:
        torque = card.inertia * block.deceleration / (card.rolling_radius or 0.33)
    if torque <= 0:
        raise InputError(f"test.yaml: block {block.name!r} states no pressure, torque or deceleration to plan with")
    if block.kind == "drag":
        duration = block.duration or DRAG_S
        energy = torque * block.speed_start * duration
    else:
        energy = card.inertia * (block.speed_start**2 - block.speed_end**2) / 2
        duration = card.inertia * (block.speed_start - block.speed_end) / torque
    return energy, duration, energy / (2 * assumed.mu)


def _pause(
    block: Block, k: int, now: float, duration: float, disc: lumped.Disc, assumed: Assumed
) -> tuple[float, float]:
    """(idle s before the stop, its initial temperature K) of stop k of the block from a disc at `now`."""
    if block.interval is not None and k > 0:
        idle = max(block.interval - duration, SPIN_UP_S)
        cooled = lumped.advance(now, idle, ambient=AMBIENT_K, conductance=assumed.cooling_w_k, disc=disc)
        return idle, float(cooled)
    target = block.initial_temperature or now
    if target >= now:
        idle = (target - now) / HEATING_K_S
    else:
        idle = float(
            lumped.cooling_time(
                now, max(target, AMBIENT_K + 2), ambient=AMBIENT_K, conductance=assumed.cooling_w_k, disc=disc
            )
        )
    return max(idle, SPIN_UP_S, (block.pause_before or 0.0) if k == 0 else 0.0), target


def _exposed(
    energy: np.ndarray,
    duration: np.ndarray,
    path: np.ndarray,
    initial: np.ndarray,
    idle: np.ndarray,
    plate: Plate,
    card: Card,
) -> Exposure:
    share = np.linspace(0, 1, SAMPLES)
    time = duration[:, None] * share
    power = (energy / duration)[:, None] * (1.5 - share)  # falls with the speed
    samples = Samples(time, np.broadcast_to(initial[:, None], time.shape), power, duration, initial)
    following = np.append(initial[1:], np.nan)
    disc = card.brake.disc
    speeds = np.full(len(duration), 3.0), np.ones(len(duration))  # a power that falls from 1.5 to 0.5 of its mean
    curve = fitted_curve(
        initial,
        plate.heat_share * energy / plate.mass,
        following,
        idle,
        duration,
        speeds,
        ambient=AMBIENT_K,
        material=plate.material,
        radiation=radiation_per_mass(disc.emissivity, disc.cooled_area, disc.mass),
    )
    history = modelled(samples, idle, following, plate, curve)
    dwell = np.sum([residence(*stretch) for stretch in history.after], axis=0)
    dwell[1:] += residence(*history.heating)[:-1]
    return Exposure(
        energy_mj=energy / 1e6,
        force_distance_n_m=path,
        power_w_mm2=energy / duration / card.brake.friction_area / 1e6,
        temperature_c=initial - ZERO_C,
        braking_s=residence(*history.braking),
        dwell_s=dwell,
    )
