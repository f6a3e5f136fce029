"""The card's figures under the keys of test.yaml, in the sheet's units (mm, cm², bar, kg m²), to be cited on it."""

from __future__ import annotations

from pipeline.archive.brake import Disc, Pad
from pipeline.archive.card import Card
from pipeline.results.model import Result, given

WHY = "not stated in test.yaml"


class Facts(Result):
    """A part of the card."""

    why: str | None = given("why a figure is null", default=WHY)


class Ring(Facts):
    """Friction ring of the disc."""

    outer_diameter: float | None = given("outer diameter", "mm", default=None)
    inner_diameter: float | None = given("inner diameter", "mm", default=None)


class PartFigures(Facts):
    """A disc or a pad."""

    mass: float | None = given("mass", "kg", default=None)
    thickness: float | None = given("thickness, new", "mm", default=None)
    minimum_thickness: float | None = given("thickness at which it is worn", "mm", default=None)
    density: float | None = given("density", "g/cm^3", default=None)


class BrakeFigures(Facts):
    """The brake."""

    effective_radius: float | None = given("effective radius as stated", "mm", default=None)
    pad_area: float | None = given("friction face of one pad", "cm^2", default=None)
    pads: int | None = given("pads, both sides", default=None)
    efficiency: float | None = given("efficiency of the caliper", "1", default=None)
    threshold_pressure: float | None = given("threshold pressure", "bar", default=None)
    piston_area: float | None = given("piston area of one side", "cm^2", default=None)
    friction_ring: Ring = given("friction ring", default_factory=Ring)
    disc: PartFigures = given("disc", default_factory=PartFigures)
    pad: PartFigures = given("pad", default_factory=PartFigures)


class CardFigures(Facts):
    """The card."""

    inertia: float | None = given("inertia at the brake shaft", "kg m^2", default=None)
    inertia_mechanical: float | None = given("of it mechanical", "kg m^2", default=None)
    rolling_radius: float | None = given("rolling radius", "mm", default=None)
    brake: BrakeFigures = given("brake", default_factory=BrakeFigures)


def card_figures(card: Card) -> CardFigures:
    """The figures of a card (SI) in the sheet's units."""
    brake, ring = card.brake, card.brake.friction_ring
    return CardFigures(
        inertia=card.inertia,
        inertia_mechanical=card.inertia_mechanical,
        rolling_radius=_scaled(card.rolling_radius, 1e3),
        brake=BrakeFigures(
            effective_radius=_scaled(brake.effective_radius, 1e3),
            pad_area=_scaled(brake.pad_area, 1e4),
            pads=brake.pads,
            efficiency=brake.efficiency,
            threshold_pressure=_scaled(brake.threshold_pressure, 1e-5),
            piston_area=_scaled(brake.piston_area, 1e4),
            friction_ring=Ring(
                outer_diameter=_scaled(ring.outer_diameter, 1e3), inner_diameter=_scaled(ring.inner_diameter, 1e3)
            )
            if ring
            else Ring(),
            disc=_part(brake.disc),
            pad=_part(brake.pad),
        ),
    )


def _part(part: Disc | Pad) -> PartFigures:
    return PartFigures(
        mass=part.mass,
        thickness=_scaled(part.thickness, 1e3),
        minimum_thickness=_scaled(part.minimum_thickness, 1e3),
        density=_scaled(part.density, 1e-3),
    )


def _scaled(value: float | None, factor: float) -> float | None:
    return None if value is None else round(value * factor, 9)
