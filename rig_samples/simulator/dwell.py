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


def moistened(moisture: float, kelvin: np.ndarray, seconds: np.ndarray, rig: Rig) -> float:
    """Moisture of the surface after a history: it dries while hot and is taken up from the hall's air while cold.

    Whether the disc ends hot or cold decides which came last.
    """
    cold = float(np.sum(np.diff(seconds) * (kelvin[1:] < DRY_ABOVE_K)))
    hot = float(np.sum(np.diff(seconds) * (kelvin[1:] >= DRY_ABOVE_K)))

    def taken_up(was: float) -> float:
        return rig.humidity + (was - rig.humidity) * float(np.exp(-cold / rig.moisture_time))

    dried = float(np.exp(-hot / DRYING_S))
    if kelvin[-1] >= DRY_ABOVE_K or cold == 0.0:
        return taken_up(moisture) * dried
    return taken_up(moisture * dried)


def cooled_faces(disc_k: float, modes: np.ndarray, disc: Disc, cooling: float) -> tuple[np.ndarray, np.ndarray]:
    """Times and temperatures of the face while the disc cools for `cooling` seconds and evens out.

    In growing steps: a pause of hours still has its first minute, when the disc is hot, in steps of a fraction
    of a second.
    """
    steps = np.concatenate([[0.0], np.geomspace(0.02, 1.0 + cooling, 400) - 0.02])
    steps = steps * (cooling / steps[-1])
    return steps, cooldown(disc).after(disc_k, steps) + np.exp(-np.outer(steps, mode_decay(disc, disc_k))) @ modes


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
    last = len(bulk) - 1
    steps, face = cooled_faces(disc_k, modes, disc, cooling)
    oxidised = oxidation(material, face, steps) + oxidation(material, warm[last:], times[last:])
    return Dwell(float(times[-1]), reached, oxidised, moistened(moisture, warm, times, rig), falling)
