"""What the thermocouples' courses give to the law: the heat that the face loses while it brakes; and what they say of themselves."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from pipeline.face.inputs import Inputs
from pipeline.heat import thermocouple
from pipeline.heat.of_card import conductivity_of, heat_share_of
from pipeline.heat.plate import radiation_of
from pipeline.heat.thermocouple import Reading
from pipeline.results.face import Thermocouple
from pipeline.results.model import Interval

if TYPE_CHECKING:
    from pipeline.face.of_compound import FaceTest, Settings

LOSS_U = 0.25  # of the logarithm: a face loses heat unevenly, and by more than convection and the card's radiation


def read(tests: Sequence[FaceTest], inputs: dict[str, Inputs], settings: Settings) -> list[Reading | str]:
    """The reading of each test, or why there is none."""
    found = []
    for test in tests:
        known = (conductivity_of(test.card, settings.conductivity), heat_share_of(test.card, settings.share))
        found.append(thermocouple.of_test(test.card, inputs[test.name].plate, test.stops, test.traces, known))
    return found


def losing(tests: Sequence[FaceTest], inputs: dict[str, Inputs], read_: Sequence[Reading | str]) -> dict[str, Inputs]:
    """The inputs with the loss while braking where most of the tests that could be read show one: their median, as known as they
    agree, and no better than LOSS_U."""
    readings = [one for one in read_ if isinstance(one, Reading)]
    shown = [one for one in readings if one.loss_shown]
    if not shown or 2 * len(shown) < len(readings):
        return inputs
    logs = np.log([one.convection for one in shown])
    own = float(np.median([one.convection_u for one in shown]))
    spread = float(logs.std(ddof=1)) / np.sqrt(logs.size) if logs.size > 1 else 0.0
    u = float(np.sqrt(own**2 + spread**2 + LOSS_U**2))
    out = {}
    for test in tests:
        of = inputs[test.name]
        out[test.name] = of.losing(
            float(np.exp(np.median(logs))), u, radiation_of(test.card, of.plate), thermocouple.ambient_of(test.stops)
        )
    return out


def told(tests: Sequence[FaceTest], read_: Sequence[Reading | str]) -> list[Thermocouple]:
    """A row a test for the file."""
    return [_row(test.name, one) for test, one in zip(tests, read_, strict=True)]


def _row(test: str, one: Reading | str) -> Thermocouple:
    if isinstance(one, str):
        return Thermocouple(
            test=test, why=one, depth_mm=Interval(why=one), lag_s=Interval(why=one), convection=Interval(why=one)
        )
    hidden = None if one.place_shown else "the readings are predicted no better than by the disc's mean at once"
    no_loss = None if one.loss_shown else "the readings are predicted no better with a loss than without"
    depth, lag = one.depth * 1e3, one.lag
    half, late = 1.96 * one.depth_u * 1e3, 1.96 * one.lag_u
    wide = np.exp(1.96 * one.convection_u)
    return Thermocouple(
        test=test, stops=one.stops,
        depth_mm=Interval(why=hidden) if hidden else Interval(value=depth, low=max(depth - half, 0.0), high=depth + half),
        lag_s=Interval(why=hidden) if hidden else Interval(value=lag, low=max(lag - late, 0.0), high=lag + late),
        convection=Interval(why=no_loss) if no_loss else Interval(value=one.convection, low=one.convection / wide, high=one.convection * wide),
        lost_share=one.lost if one.loss_shown else None, rise_k=one.rise, rms_k=one.rms if one.loss_shown else one.rms_without_loss,
        rms_without_loss_k=one.rms_without_loss, rms_at_once_k=one.rms_at_once,
    )  # fmt: skip
