"""Between stops: the disc cools or is heated, oxidises while it is hot, and takes up moisture."""

from dataclasses import dataclass

import numpy as np

from rig_samples.simulator.brake import Rig
from rig_samples.simulator.disc import Disc, cooldown, heat_capacity, heat_loss, mode_decay
from rig_samples.simulator.material import GAS_CONSTANT, OXIDATION_REFERENCE_K, Material

LEAST_GAP = 6.0  # s to bring the rotor back to speed
DRY_ABOVE_K = 273.15 + 130.0
DRYING_S = 40.0


@dataclass(frozen=True)
class Dwell:
    """What a pause did."""

    seconds: float
    disc_k: float
    oxidation_um: float
    moisture: float
    falling_k_s: float  # how fast the disc was cooling at the end; 0 where it was heated or held


def oxidation(material: Material, face_k: np.ndarray, seconds: np.ndarray) -> float:
    """What a history of the face (K) at these times (s) oxidises off both faces, um."""
    exponent = -material.oxidation_energy_j_mol / GAS_CONSTANT * (1.0 / face_k - 1.0 / OXIDATION_REFERENCE_K)
    return float(np.trapezoid(material.oxidation_um_s * np.exp(exponent), seconds))


def dwell(
    disc_k: float,
    modes: np.ndarray,
    moisture: float,
    disc: Disc,
    material: Material,
    rig: Rig,
    target_k: float | None,
    seconds: float | None = None,
    pause: float = 0.0,
) -> Dwell:
    """Let the disc cool until it is at `target_k`, or for `seconds`, after a `pause` if any.

    A disc colder than the target is heated to it; one that would cool below it while the rotor is
    brought to speed is held there.
    """
    curve = cooldown(disc)
    cooling = seconds if seconds is not None else pause
    if seconds is None and target_k is not None and target_k < disc_k and not pause:
        cooling = curve.time_at(target_k) - curve.time_at(disc_k)
    early = min(cooling, 12.0)
    times = np.concatenate([np.linspace(0.0, early, 60), np.linspace(early, cooling, 240)])
    bulk = curve.after(disc_k, times)
    reached = float(bulk[-1])
    warm, falling = bulk, heat_loss(disc, reached) / (disc.mass * heat_capacity(reached))
    if seconds is None and target_k is not None:
        if target_k > reached:
            rise = np.linspace(reached, target_k, 120)
            times = np.concatenate([times, cooling + (rise - reached) / disc.heating_k_s])
            warm, falling = np.concatenate([warm, rise]), 0.0
        if times[-1] < LEAST_GAP:
            times, warm, falling = np.append(times, LEAST_GAP), np.append(warm, target_k), 0.0
        reached = target_k
    # Growing steps: a pause of hours still has its first minute, when the disc is hot, in steps of a fraction of a second.
    steps = np.concatenate([[0.0], np.geomspace(0.02, 1.0 + cooling, 400) - 0.02])
    steps = steps * (cooling / steps[-1])
    face = curve.after(disc_k, steps) + np.exp(-np.outer(steps, mode_decay(disc, disc_k))) @ modes
    oxidised = oxidation(material, face, steps) + oxidation(material, warm[len(bulk) - 1 :], times[len(bulk) - 1 :])
    damp = rig.humidity
    cold = float(np.sum(np.diff(times) * (warm[1:] < DRY_ABOVE_K)))
    hot = float(np.sum(np.diff(times) * (warm[1:] >= DRY_ABOVE_K)))
    if warm[-1] >= DRY_ABOVE_K or cold == 0.0:
        moisture = damp + (moisture - damp) * float(np.exp(-cold / rig.moisture_time))
        moisture *= float(np.exp(-hot / DRYING_S))
    else:
        moisture *= float(np.exp(-hot / DRYING_S))
        moisture = damp + (moisture - damp) * float(np.exp(-cold / rig.moisture_time))
    return Dwell(float(times[-1]), reached, oxidised, moisture, falling)
