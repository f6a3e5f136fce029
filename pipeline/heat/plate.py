"""The disc's ring as a plate, as a card states it: what conduction through its thickness needs."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.archive.card import Card
from pipeline.heat.capacity import Material
from pipeline.heat.lumped import STEFAN_BOLTZMANN


@dataclass(frozen=True)
class Plate:
    """The disc's ring as half a plate on each face, SI; ring_area of one face."""

    ring_area: float
    half_thickness: float
    density: float
    material: Material


def plate_of(card: Card) -> Plate | str:
    """The plate of a card's disc, or what the card lacks for it."""
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
    return Plate(ring, disc.thickness / 2, density, disc.heat_capacity)


def radiation_of(card: Card, plate: Plate) -> float:
    """Emissivity x cooled area x Stefan-Boltzmann over the two faces' rings, W/(m^2 K^4); 0 where the card does not say."""
    disc = card.brake.disc
    if not (disc.emissivity and disc.cooled_area):
        return 0.0
    return STEFAN_BOLTZMANN * disc.emissivity * disc.cooled_area / (2 * plate.ring_area)
