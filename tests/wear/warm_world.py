"""A world whose discs are not quite as their cards state: surface histories whose rise above the bulk and whose thermocouple are off.

Histories are those of `tests.wear.makers`, which conducts into a half space in closed form; a heat input acts on them as a factor on
the rise, so that exposures at any setting are exact.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.heat.propagation import NODE
from pipeline.results.sources import HeatInput
from pipeline.wear.exposure import Exposure, exposure, residence
from tests.wear import makers

U = {"heat share": 0.08, "conductivity": 0.25, "thermocouple": 4.0}
INPUTS = tuple(HeatInput(name=name, value=None, u=u, source="card") for name, u in U.items())
# more kinds of use than the makers' program: short and long pauses, hard and gentle stops
BLOCKS = tuple(
    replace(block, dwell_s=dwell, energy_kj=energy)
    for block, dwell, energy in zip(
        makers.WIDE, (40, 40, 25, 60, 30, 90, 20, 120, 45), (220, 160, 300, 240, 320, 150, 280, 200, 260), strict=True
    )
)


def world() -> makers.Program:
    """The program as run; its own histories are the truth of z = 0."""
    return makers.program(BLOCKS, np.random.default_rng(8))


def exposed(made: makers.Program, share: float = 0.0, conductivity: float = 0.0, thermocouple: float = 0.0) -> Exposure:
    """The program's exposure with its inputs at z: the face's rise goes by the share over the root of the conductivity."""
    braking = made.time <= made.duration[:, None] + 1e-12
    rise = _rise(made)
    factor = np.exp(U["heat share"] * share - U["conductivity"] * conductivity / 2)
    kelvin = made.kelvin + (factor - 1) * rise + U["thermocouple"] * thermocouple
    last = braking & ~np.roll(braking, -1, axis=1)
    s = made.stops
    return exposure(
        s.energy_mj,
        force_distance_n_m=s.force_distance_n_m,
        power_w_mm2=s.power_w_mm2,
        temperature_c=s.temperature_c + U["thermocouple"] * thermocouple,
        braking_s=residence(made.time, np.where(braking, kelvin, np.nan)),
        dwell_s=residence(made.time, np.where(braking & ~last, np.nan, kelvin)),
    )


def with_nodes(made: makers.Program) -> Exposure:
    """The exposure as stated, with each input at its nodes."""
    keys = {"heat share": "share", "conductivity": "conductivity", "thermocouple": "thermocouple"}
    nodes = {name: (exposed(made, **{key: -NODE}), exposed(made, **{key: NODE})) for name, key in keys.items()}
    return replace(exposed(made), nodes=nodes)


def _rise(made: makers.Program) -> np.ndarray:
    """The face's rise above a straight line of the bulk: what the makers added to it."""
    start = made.kelvin[:, :1]
    end = made.kelvin[:, -1:]
    share = np.clip(made.time / made.duration[:, None], 0, 1)
    bulk = start + (end - start) * share
    return np.maximum(made.kelvin - np.maximum(bulk, np.minimum(start, end)), 0.0)


def true_kelvin(made: makers.Program, share: float = 0.0, conductivity: float = 0.0) -> makers.Program:
    """The program whose surface truly was at these settings."""
    factor = np.exp(U["heat share"] * share - U["conductivity"] * conductivity / 2)
    return replace(made, kelvin=made.kelvin + (factor - 1) * _rise(made))
