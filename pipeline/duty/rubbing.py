"""What a duty's brakings expose the disc's surface to, in the form that the wear laws take.

The bulk follows the lumped disc; the surface lies above it by conduction under the braking's own power, and
evens out after it and is cooler by what it radiates itself, both as for the rig's stops. Where the laws were fitted in indicated temperature, bulk
serves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.constants import ZERO_C, Array
from pipeline.duty.cycle import Events, History
from pipeline.heat import slab
from pipeline.heat.capacity import Material
from pipeline.heat.face_loss import below
from pipeline.wear.exposure import Exposure, exposure, joined, of_nodes, residence

BRAKING_SAMPLES = 51
DWELL_SAMPLES = 30
FACES_PATH = 2.0  # both faces of the disc rub


@dataclass(frozen=True)
class Plate:
    """The disc's ring as half a plate on each face, SI: ring_area of one face; density of its whole heat
    over the ring.
    """

    ring_area: float
    thickness: float
    density: float
    conductivity: float
    material: Material
    radiating: float = 0.0  # of the bare faces, W/(m^2 K^4)

    def face(self, kelvin: Array) -> Array:
        """The face's temperature in K where it would be at `kelvin` if it gave nothing off itself."""
        return below(kelvin, self.radiating, self.thickness / 2, self.conductivity)


@dataclass(frozen=True)
class Rubbing:
    """What turns energy into the laws' other inputs: pads' friction area m^2 and mu over temperature
    (degC).
    """

    friction_area: float
    curve_c: Array
    curve_mu: Array

    def mu(self, temperature_c: Array) -> Array:
        """mu at temperatures; beyond the curve its end values. NaN without a curve."""
        if not len(self.curve_c):
            return np.full(np.shape(temperature_c), np.nan)
        return np.interp(temperature_c, self.curve_c, self.curve_mu)


def attributed(history: History, kind: str, opening: int = 0) -> Array:
    """The method's temperature in degC of each braking [e]: initial, mean, peak or end of the bulk."""
    path = history.braking[:, :, opening]
    value = {"initial": path[:, 0], "mean": path.mean(axis=1), "end": path[:, -1], "peak": path.max(axis=1)}[kind]
    return np.asarray(value, float) - ZERO_C


def of_cycles(
    history: History,
    events: Events,
    rubbing: Rubbing,
    plate: Plate | None,
    share: float,
    kind: str,
    openings: Sequence[int],
    excess: Array | None = None,
) -> list[Exposure]:
    """Exposure of the cycle's brakings at each of the history's openings; `plate` None: bulk temperature.

    All openings are conducted together: their number costs little. excess: as of `excess_of`, where it is known already.
    """
    if excess is None and plate is not None:
        excess = excess_of(history, events, plate, share, openings)
    braking_s, dwell_s = _residence(history, events, excess, openings, plate)
    found = []
    for position, opening in enumerate(openings):
        temperature = attributed(history, kind, opening)
        rows = slice(position * len(events.energy), (position + 1) * len(events.energy))
        found.append(
            exposure(
                events.energy / 1e6,
                power_w_mm2=events.energy / events.brake_time / rubbing.friction_area / 1e6,
                temperature_c=temperature,
                # friction work = 2 mu x integral of clamp force over path, both faces rubbed
                force_distance_n_m=events.energy / (FACES_PATH * rubbing.mu(temperature)),
                braking_s=braking_s[rows],
                dwell_s=dwell_s[rows],
            )
        )
    return found


def of_use(parts: Sequence[tuple[Exposure, float]]) -> Exposure:
    """One exposure of cycles with their weights: a settled cycle run n times counts n-fold."""
    return joined([_weighted(part, weight) for part, weight in parts if weight > 0])


def _weighted(part: Exposure, weight: float) -> Exposure:
    return replace(
        part,
        energy_mj=part.energy_mj * weight,
        force_distance_n_m=part.force_distance_n_m * weight,
        braking_s=part.braking_s * weight,
        dwell_s=part.dwell_s * weight,
        nodes=of_nodes(part.nodes, lambda one: _weighted(one, weight)),
    )


def excess_of(history: History, events: Events, plate: Plate, share: float, openings: Sequence[int]) -> Array:
    """Surface above bulk in K through each braking and the cooling after it, [len(openings) * e, BRAKING_SAMPLES +
    DWELL_SAMPLES], opening by opening.
    """
    time, after = _times(events, len(openings))
    return _excess(time, after, events, _stacked(history.braking, openings)[:, 0], plate, share)


def _times(events: Events, times: int) -> tuple[Array, Array]:
    """Seconds of each braking from its start, and from its end, `times` times over."""
    fine, later = np.linspace(0, 1, BRAKING_SAMPLES), np.geomspace(0.005, 1, DWELL_SAMPLES)
    time = np.tile(events.brake_time[:, None] * fine, (times, 1))
    return time, np.tile(events.then[:, None] * np.concatenate([[0.0], later]), (times, 1))


def _residence(
    history: History, events: Events, excess: Array | None, openings: Sequence[int], plate: Plate | None
) -> tuple[Array, Array]:
    """Seconds at temperature while braking and after it, [len(openings) * e, grid] each, opening by
    opening.
    """
    braking, cooling = (_stacked(path, openings) for path in (history.braking, history.cooling))
    time, after = _times(events, len(openings))
    bulk = _along(np.linspace(0, 1, BRAKING_SAMPLES), braking)
    still = np.hstack([cooling[:, :1], _along(np.geomspace(0.005, 1, DWELL_SAMPLES), cooling)])
    if excess is not None:
        bulk, still = bulk + excess[:, :BRAKING_SAMPLES], still + excess[:, BRAKING_SAMPLES - 1 :]
    if plate is not None:
        bulk, still = plate.face(bulk), plate.face(still)
    return residence(time, bulk), residence(after, still)


def _stacked(path: Array, openings: Sequence[int]) -> Array:
    """[e, n, k] -> [len(openings) * e, n], opening by opening."""
    return np.concatenate([path[:, :, k] for k in openings])


def _along(at: Array, path: Array) -> Array:
    """Each row of `path` [e, n], even over 0 to 1, at the shares `at`."""
    even = np.linspace(0, 1, path.shape[1])
    return np.array([np.interp(at, even, row) for row in path])


def _excess(time: Array, after: Array, events: Events, start: Array, plate: Plate, share: float) -> Array:
    """Surface above bulk in K through the braking and the cooling after it, [e, BRAKING_SAMPLES +
    DWELL_SAMPLES].
    """
    edges = events.start[:, None] + (events.end - events.start)[:, None] * np.linspace(0, 1, BRAKING_SAMPLES)
    power = (events.energy / events.brake_time)[:, None] * edges / ((events.start + events.end) / 2)[:, None]
    flux = np.zeros((len(power), BRAKING_SAMPLES + DWELL_SAMPLES))
    flux[:, 1:BRAKING_SAMPLES] = share * (power[:, 1:] + power[:, :-1]) / 2 / (2 * plate.ring_area)
    flux = np.tile(flux, (len(time) // len(power), 1))
    surface, mean = slab.conduct(
        np.hstack([time, time[:, -1:] + after[:, 1:]]),
        flux,
        start,
        half_thickness=plate.thickness / 2,
        conductivity=plate.conductivity,
        density=plate.density,
        material=plate.material,
    )
    return np.asarray(surface - mean, float)
