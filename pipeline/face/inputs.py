"""What conduction into the disc needs, each value with its uncertainty and where it comes from.

Face temperatures scale with the heat flux into the ring and with 1 / sqrt(k rho c), so what is not known well acts
through two numbers, both as factors on a logarithmic scale:

    conductivity    ln(k / k0)
    flux            ln of (heat share / (ring area x thickness)) over its stated value

Values and how well each is known are those of `pipeline.heat.of_card`, the same as wear and duties take; ring and thickness
add 2 % together to the flux.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.archive.card import Card
from pipeline.heat.capacity import Material
from pipeline.heat.of_card import Source, conductivity_of, heat_share_of

GEOMETRY_U = 0.02  # of the logarithm
SPAN = 2.2  # standard deviations to each side that are looked at


@dataclass(frozen=True)
class Plate:
    """The disc's ring as half a plate on each face, SI; ring_area of one face."""

    ring_area: float
    half_thickness: float
    density: float
    material: Material


@dataclass(frozen=True)
class Prior:
    """A heat input before the stops were looked at: value, standard uncertainty of its logarithm, and its source."""

    name: str
    value: float
    u: float
    source: Source


@dataclass(frozen=True)
class Inputs:
    """Plate and the two uncertain factors of one disc."""

    plate: Plate
    conductivity: Prior
    share: Prior

    @property
    def u(self) -> np.ndarray:
        return np.array([self.conductivity.u, self.share.u])


def inputs_of(card: Card, conductivity: float, share: float) -> Inputs | str:
    """The inputs of a card's disc, `conductivity` W/(m K) and heat share being the method's; or why there are none."""
    disc, ring = card.brake.disc, card.brake.swept_area
    if ring is None or disc.thickness is None:
        lacks = ["friction_ring"] * (ring is None) + ["disc.thickness"] * (disc.thickness is None)
        return f"the card gives no {' and no '.join(lacks)}"
    density = disc.density or (disc.mass / (ring * disc.thickness) if disc.mass else None)
    if density is None or disc.heat_capacity is None:
        lacks = ["disc.density or disc.mass"] * (density is None) + ["disc.heat_capacity"] * (
            disc.heat_capacity is None
        )
        return f"the card gives no {' and no '.join(lacks)}"
    k, into_disc = conductivity_of(card, conductivity), heat_share_of(card, share)
    return Inputs(
        Plate(ring, disc.thickness / 2, density, disc.heat_capacity),
        Prior("conductivity", k.value, k.u, k.source),
        Prior("heat share", into_disc.value, float(np.hypot(into_disc.u, GEOMETRY_U)), into_disc.source),
    )
