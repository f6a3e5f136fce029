"""The worn parts of a brake and what their thickness loss means.

The thickness loss is the component's: a disc's both faces together, a pad's one face. The area is the swept ring of one
disc face, or one pad's friction face, so that loss x area is the component's worn volume in both cases.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.archive.brake import Disc, Pad
from pipeline.archive.card import Card


@dataclass(frozen=True)
class Component:
    """One component; SI. force_share: normal force on one of its faces over the clamp force."""

    name: str
    faces: int
    area: float | None
    force_share: float
    density: float | None
    thickness: float | None
    minimum_thickness: float | None
    mass: float | None = None

    @property
    def usable_um(self) -> float | None:
        """Thickness loss from new to minimum, um."""
        if self.thickness is None or self.minimum_thickness is None:
            return None
        return (self.thickness - self.minimum_thickness) * 1e6

    @property
    def distance_factor(self) -> float | None:
        """Thickness loss in um per unit of k F s, k in mm^3/(N m), F s of the clamp force in N m."""
        if self.area is None:
            return None
        return self.faces * self.force_share * 1e3 / (self.area * 1e6)


def component(name: str, card: Card) -> Component:
    """The component of that name (disc, pad_inner, pad_outer_2 ...) of the card's brake."""
    brake = card.brake
    part: Disc | Pad
    if name == "disc":
        part, faces, area, share = brake.disc, 2, brake.swept_area, 1.0
    else:
        # Pads of one side share the clamp force.
        part, faces, area, share = brake.pad, 1, brake.pad_area, 2.0 / max(brake.pads, 2)
    return Component(
        name=name,
        faces=faces,
        area=area,
        force_share=share,
        density=part.density,
        thickness=part.thickness,
        minimum_thickness=part.minimum_thickness,
        mass=part.mass,
    )


def spoken(name: str) -> str:
    """Name as it is written in a sentence: pad_inner_2 -> inner pad 2."""
    kind, _, rest = name.partition("_")
    side, _, number = rest.partition("_")
    return " ".join(word for word in (side, kind, number) if word)
