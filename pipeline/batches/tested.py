"""Whether a batch's own stops lie near the conditions at which batches are compared, by the reach of `pipeline.tested.run`.

Friction of a specimen is read from its checks (map stops without them), moved to the reference conditions along the compound's map.
The map may know the way and the batch was yet never run there: where no stop of a batch lies within reach of the reference, its level there
is the map's word for it, and no pair with it is called equivalent. Bite is compared at conditions that all batches have, wear over the
stops as run: neither leaves what was run.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.batches.specimens import SpecimenTest, reference_stops
from pipeline.results.batches import Pair
from pipeline.results.friction_map import Reference
from pipeline.results.model import renewed
from pipeline.results.support import Extrapolation
from pipeline.tested.run import ENERGY_DENSITY, PRESSURE, SPEED, TEMPERATURE, Run
from pipeline.tested.told import apart, at_words

WHY = "friction of {names} at the reference conditions is extrapolated: none of its stops was run near them"


def of_batches(
    tests: Sequence[SpecimenTest], reference: Reference | None, temperature: str
) -> dict[str, Extrapolation]:
    """By batch, how far the stops that its friction is read from lie from the reference; nothing for a batch that was run there.

    temperature: which of a stop's temperatures the method stands a stop at.
    """
    if reference is None:
        return {}
    at = {
        TEMPERATURE: reference.temperature_c,
        PRESSURE: reference.pressure_bar,
        SPEED: reference.speed_rpm,
        ENERGY_DENSITY: reference.energy_density_j_mm2,
    }
    names = {
        TEMPERATURE: f"temperature_{temperature}_c",
        PRESSURE: "pressure_bar",
        SPEED: "speed_start_rpm",
        ENERGY_DENSITY: "energy_density_j_mm2",
    }
    asked = {d: [value] for d, value in at.items() if value is not None}
    found = {}
    for batch in dict.fromkeys(test.batch for test in tests):
        stops = [reference_stops(test) for test in tests if test.batch == batch]
        columns = {
            d: np.concatenate([one[names[d]].cast(float).to_numpy() if names[d] in one.columns else np.full(len(one), np.nan) for one in stops])
            for d in asked
        }  # fmt: skip
        run = Run.of(columns)
        if not len(run):
            continue
        point = run.points(asked)
        distance, index = (values[0] for values in run.nearest(point))
        if distance > 1:
            found[batch] = Extrapolation(
                of=f"friction of {batch}",
                direction="combination",
                unit="1",
                value=float(distance),
                high=1.0,
                share=1.0,
                words=f"the reference, {at_words(run.directions, point[0])}; its nearest stop is at {apart(run, point[0], run.values[index])}",
            )
    return found


def answered(pairs: Sequence[Pair], beyond: dict[str, Extrapolation]) -> list[Pair]:
    """The pairs, none called equivalent in friction with a batch that was not run near the reference."""
    rows = []
    for pair in pairs:
        names = [name for name in (pair.a, pair.b) if name in beyond]
        if names and pair.mu_verdict == "equivalent":
            rows.append(renewed(pair, mu_verdict="undecided", mu_why=WHY.format(names=" and ".join(names))))
        else:
            rows.append(pair)
    return rows
