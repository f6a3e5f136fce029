"""Where a single stop of a further specimen lies: friction, time, distance, torque and the pressure that it needs.

A stop's level differs by stop, specimen and batch (`Scales.level`), its flank lies hotter or colder (`Scales.kelvin`), and what
wanders within a stop leaves a rest in its mean (`Scales.within`). Friction heats the face that makes it, so where mu climbs
with temperature a level of 1 % at one face temperature changes the whole stop by more. The standard deviation of a quantity q is

    sd(ln q)^2 = (d ln q/d level x level)^2 + (d ln q/d T x kelvin)^2 + within^2

with both slopes from brakings by the law at a level, and a temperature, shifted to either side. The interval holds `coverage` of
stops with `confidence`, as the tolerance band of the law's curve does; the interval of the mean is added in square. Batches are
those tested: what another batch does is not in it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from scipy import special

from pipeline.constants import Array
from pipeline.face.braking import Braking
from pipeline.face.samples import SEGMENTS
from pipeline.results.face import FaceModel

QUANTITIES = ("mu", "time", "angle", "torque")
LEAST_LEVEL, LEAST_K = 0.005, 2.0  # steps of the slopes
FEW_SPECIMENS = 8.0  # degrees of freedom of a scatter between few specimens
SPENT = 20.0  # and of stops of one specimen, those that the law's own freedom takes


@dataclass(frozen=True)
class Scales:
    """Standard deviations of a single stop: of ln mu at one face temperature, of its flank in K, of its mean's rest."""

    level: float
    kelvin: float
    within: float


def scales(model: FaceModel) -> Scales:
    within = model.noise**2 / SEGMENTS + model.wander**2 * min(2 * model.wander_range / SEGMENTS, 1.0)
    return Scales(
        float(np.sqrt(model.level**2 + model.specimen_sd**2 + model.batch_sd**2)),
        float(np.hypot(model.kelvin, model.specimen_shift)),
        float(np.sqrt(within)),
    )


def sds(model: FaceModel, run: Callable[[float, float], Braking]) -> dict[str, Array]:
    """Relative standard deviation of each of QUANTITIES over single stops; `run` brakes at a level and at kelvin hotter."""
    own = scales(model)
    level, kelvin = max(2 * own.level, LEAST_LEVEL), max(2 * own.kelvin, LEAST_K)
    up, down, hotter, colder = run(level, 0.0), run(-level, 0.0), run(0.0, kelvin), run(0.0, -kelvin)

    def slope(name: str, one: Braking, other: Braking, step: float) -> Array:
        return np.asarray(np.log(getattr(one, name) / getattr(other, name)) / (2 * step))

    return {
        name: np.sqrt(
            (slope(name, up, down, level) * own.level) ** 2
            + (slope(name, hotter, colder, kelvin) * own.kelvin) ** 2
            + own.within**2
        )
        for name in QUANTITIES
    }


def tolerance(model: FaceModel) -> tuple[float, float]:
    """(factor on a single stop's standard deviation, its degrees of freedom): `coverage` of stops at `confidence`."""
    dof = max(model.stops - SPENT, 5.0) if model.specimen_sd == 0 else FEW_SPECIMENS
    upper = np.sqrt(dof / (2 * special.gammaincinv(dof / 2, 1 - model.confidence)))
    return float(special.ndtri((1 + model.coverage) / 2) * upper), dof


def halves(model: FaceModel, sd: Mapping[str, float], u_mean: Mapping[str, float]) -> dict[str, float]:
    """Half widths of the intervals of ln q by name, from standard deviations of single stops and of the mean."""
    factor, _ = tolerance(model)
    z = special.ndtri((1 + model.confidence) / 2)
    return {name: float(np.hypot(factor * sd[name], z * u_mean[name])) for name in sd}
