"""The brake at the heat inputs that its wear law found, so that one disc is behind law and projection.

A law's figures are at `shift` standard uncertainties from what was known of each input before the readings. The duty is run at the
same: heat share and conductivity times exp(shift u), and every law told in distances from there,

    z' = z - shift

so that the same z still means the same disc. Wear and life are then exact where a parabola through the nodes was, and temperatures,
window share, openings and the face go by the share and conductivity of the law. The thermocouple's bias is no property of the
disc: it stays with the law.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from pipeline.duty.lives import Worn
from pipeline.duty.project import Brake
from pipeline.results.model import renewed
from pipeline.results.sources import HeatInput, InputName
from pipeline.results.wear import FittedLaw

OF_DISC: tuple[InputName, ...] = ("heat share", "conductivity")


def at_found(brake: Brake) -> Brake:
    """The brake at the inputs that the law of a component found, the disc's first; as it is where none of them knows any."""
    known = next((c.model.inputs for c in brake.components if c.model is not None and c.model.inputs), [])
    found = {one.name: one for one in known}
    shifts = {name: found[name].shift for name in OF_DISC if name in found and brake.known_input(name) is not None}
    moved = {name: shift for name, shift in shifts.items() if shift}
    inputs = tuple(_told(one, found.get(one.name)) for one in brake.inputs)
    if not moved:
        return replace(brake, inputs=inputs)
    plate = brake.plate
    if plate is not None:
        plate = replace(plate, conductivity=plate.conductivity * factor_of(inputs, "conductivity"))
    return replace(
        brake,
        heat_share=brake.heat_share * factor_of(inputs, "heat share"),
        plate=plate,
        inputs=inputs,
        components=tuple(_from_there(one, moved) for one in brake.components),
        batches=tuple(
            replace(one, components=tuple(_from_there(own, moved) for own in one.components)) for one in brake.batches
        ),
    )


def factor_of(inputs: tuple[HeatInput, ...], name: InputName) -> float:
    """What a law found over what was known of an input before."""
    return next((float(np.exp(one.shift * one.u)) for one in inputs if one.name == name), 1.0)


def _told(known: HeatInput, found: HeatInput | None) -> HeatInput:
    """What was known of an input, and what the law found."""
    if found is None:
        return known
    if known.name in OF_DISC and known.value is not None:
        return renewed(known, shift=found.shift, found=known.value * float(np.exp(found.shift * known.u)))
    return renewed(known, shift=found.shift, found=found.found)


def _from_there(worn: Worn, shifts: Mapping[InputName, float]) -> Worn:
    return worn if worn.model is None else replace(worn, model=_law(worn.model, shifts))


def _law(law: FittedLaw, shifts: Mapping[InputName, float]) -> FittedLaw:
    """The law with its inputs told in distances from the setting at these shifts."""
    inputs = []
    for one in law.inputs:
        by = shifts.get(one.name, 0.0)
        draws = None if one.draws is None else [z - by for z in one.draws]
        inputs.append(renewed(one, shift=one.shift - by, draws=draws))
    return renewed(law, inputs=inputs)
