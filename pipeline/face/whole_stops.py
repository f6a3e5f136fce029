"""The sheet's whole stops by the law: coldest, normal and hot, and what is not known of a first stop.

Stops of a map follow one another: the coldest of them is run dry, and a first stop after a rest, in which carbon takes up
moisture, may brake far less. Whether any test has seen one that cold is said beside the table (`after_pause`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import polars as pl

from pipeline.constants import ZERO_C, Array
from pipeline.face import predict
from pipeline.face.predict import Asked, Drawn
from pipeline.friction.map import FrictionMap
from pipeline.results.face import FaceModel, FaceStop
from pipeline.results.model import renewed

COLDEST = "coldest stop tested, dry"
PAUSE_S, ALIKE_K = 3600.0, 20.0  # a rest in which carbon takes up moisture; starts as cold as another


def begins_above(model: FaceModel, asked: Array, found: Array, reference: Asked) -> list[str]:
    """Why the law gives no stop from the map's coldest start (`asked` in K) at the reference; nothing where it does."""
    if not asked.size or found[0] <= asked[0]:
        return []
    why = predict.stop(Drawn.of(model, 2), replace(reference, initial=float(asked[0]))).why
    return [
        f"at the reference conditions the law gives stops from {found[0] - ZERO_C:.0f} °C up, the map from "
        f"{asked[0] - ZERO_C:.0f} °C: below, a stop would leave what was tested ({why})"
    ]


def three_stops(model: FaceModel, reference: Asked, map_: FrictionMap, inside: Array | None) -> list[FaceStop]:
    """Coldest, normal and hot at the reference pressure, and the pressures by which each of them would brake as the normal
    stop does, and as the cold one does. Cold and hot are the ends of the initial temperatures that the law knows (`inside`, K)."""
    drawn = Drawn.of(model)
    t = map_.fit.data.temperature if inside is None else inside
    places = {COLDEST: float(t.min()), "normal": reference.initial, "hot": float(t.max())}
    asked = [_at(reference, name, kelvin) for name, kelvin in places.items()]
    by_map = map_.predict(np.array(list(places.values())))
    found = [
        renewed(one, map_mu=float(by_map.mu[i]) if by_map.supported[i] else None)
        for i, one in enumerate(predict.stops(drawn, asked))
    ]
    wanted = []
    for like in (found[1], found[0]):
        torque = like.torque_nm.value
        for one in asked if torque is not None else ():
            if one.name != like.name:
                words = (
                    f"the mean torque of the {'coldest' if like.name == COLDEST else like.name} stop, {torque:.0f} N m"
                )
                wanted.append(replace(one, pressure=None, torque=torque, wanted=words))
    return [*found, *predict.stops(drawn, wanted)]


def after_pause(tests: Sequence[pl.DataFrame], celsius: float) -> str:
    """What the stops know of a first stop after a pause that starts about as cold as `celsius`: those of the map are run dry, one
    after the other, and moisture taken up in a rest may put the first one far lower."""
    near = (pl.col("temperature_initial_c") - celsius).abs() <= ALIKE_K
    rows = [
        stops.filter(pl.col("idle_before_s") >= PAUSE_S, near, pl.col("mu").is_finite())["mu"]
        for stops in tests
        if "idle_before_s" in stops.columns
    ]
    mu = np.concatenate([np.zeros(0), *(row.to_numpy() for row in rows)])
    where = f"within {ALIKE_K:.0f} K of {celsius:.0f} °C after a pause of an hour or more"
    if not mu.size:
        return (
            "The first stop after a pause, or in the wet, is not known from these tests, and moisture can put it far lower: no "
            f"stop began {where}"
        )
    return (
        f"The first stop after a pause may differ from this: {mu.size} began {where}, with µ from {mu.min():.3f} to "
        f"{mu.max():.3f}, each at its own pressure and speeds; in the wet none is known"
    )


def _at(reference: Asked, name: str, kelvin: float) -> Asked:
    return Asked(name, kelvin, reference.first, reference.last, reference.inertia, pressure=reference.pressure)
