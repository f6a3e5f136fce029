"""The brake as a test card states it: friction ring, pistons, pads, disc; SI."""

from __future__ import annotations

import math
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, Field, PositiveInt, field_validator, model_validator

from pipeline.errors import Unfit
from pipeline.inputs.model import Model
from pipeline.inputs.quantities import (
    Area,
    Conductivity,
    Density,
    Length,
    Mass,
    Pressure,
    Share,
    to_si,
)
from pipeline.inputs.scalars import as_number

LARGEST_PADS = 2.0  # times the ring's faces; above 1 it is told (`plausible`)


class FrictionRing(Model):
    bounds: ClassVar = {"outer_diameter": ("20 mm", "3 m"), "inner_diameter": ("5 mm", "3 m")}
    outer_diameter: Length
    inner_diameter: Length

    @model_validator(mode="after")
    def _ordered(self) -> FrictionRing:
        if self.outer_diameter <= self.inner_diameter:
            raise Unfit(
                "outer_diameter must be above inner_diameter",
                f"an outer diameter above {1e3 * self.inner_diameter:g} mm",
                "correct one of the two, or its unit",
            )
        return self


class Disc(Model):
    bounds: ClassVar = {
        "mass": ("10 g", "2000 kg"),
        "thickness": ("1 mm", "300 mm"),
        "minimum_thickness": ("0.5 mm", "300 mm"),
        "density": ("0.3 g/cm^3", "25 g/cm^3"),
        "conductivity": ("0.01 W/(m K)", "2500 W/(m K)"),
        "emissivity": ("0", "1"),
        "cooled_area": ("1 cm^2", "50 m^2"),
    }
    mass: Mass | None = None
    thickness: Length | None = None
    minimum_thickness: Length | None = None
    density: Density | None = None
    heat_capacity: Literal["carbon"] | float | None = None  # J/(kg K) when a number
    conductivity: Conductivity | None = None
    heat_share: Share | None = None  # of the friction heat into the disc
    emissivity: Share | None = None
    cooled_area: Area | None = None

    @field_validator("heat_share")
    @classmethod
    def _heat_share(cls, value: float | None) -> float | None:
        if value is not None and not 0.1 < value <= 1:
            raise Unfit(f"{value:g} must be above 10 % and at most 100 %", "above 10 % to 100 %", "correct the share")
        return value

    @field_validator("heat_capacity", mode="before")
    @classmethod
    def _heat_capacity(cls, value: Any) -> Any:
        if value is None or (isinstance(value, str) and value.strip() == "carbon"):
            return value if value is None else "carbon"
        try:
            return _possible_capacity(to_si(value, "heat_capacity"), value)
        except ValueError as error:
            raise Unfit.of(error).with_("or the word carbon") from error


class Pad(Model):
    bounds: ClassVar = {
        "mass": ("1 g", "200 kg"),
        "thickness": ("0.5 mm", "300 mm"),
        "minimum_thickness": ("0.1 mm", "300 mm"),
        "density": ("0.3 g/cm^3", "25 g/cm^3"),
    }
    mass: Mass | None = None
    thickness: Length | None = None
    minimum_thickness: Length | None = None
    density: Density | None = None


def _possible_capacity(number: float, shown: Any) -> float:
    if not 50 <= number <= 20000:
        raise Unfit(f"{shown!r} is no solid's", "50 to 20000 J/(kg K)", "correct the number or its unit")
    return number


class Brake(Model):
    bounds: ClassVar = {
        "effective_radius": ("5 mm", "1.5 m"),
        "pistons_per_side": ("3 mm", "500 mm"),
        "pad_area": ("0.1 cm^2", "1 m^2"),
        "threshold_pressure": ("0 bar", "50 bar"),
    }
    friction_ring: FrictionRing | None = None
    effective_radius: Length | None = None
    pistons_per_side: Annotated[tuple[Length, ...], Field(min_length=1, max_length=24)]
    pad_area: Area
    pads: Annotated[PositiveInt, Field(le=100), BeforeValidator(as_number)] = 2
    efficiency: Share = 1.0
    threshold_pressure: Pressure = 0.0
    disc: Disc = Disc()
    pad: Pad = Pad()

    @field_validator("efficiency")
    @classmethod
    def _efficiency(cls, value: float) -> float:
        if not 0 < value <= 1.5:
            raise Unfit(f"{value:g} is no efficiency", "above 0, at most about 1 (or 100 %)", "correct the share")
        return value

    @model_validator(mode="after")
    def _radius(self) -> Brake:
        if self.friction_ring is None and self.effective_radius is None:
            raise Unfit(
                "neither friction_ring nor effective_radius is given",
                "friction_ring: {outer_diameter, inner_diameter}, or effective_radius",
                "give friction_ring or effective_radius",
            )
        ring, radius = self.friction_ring, self.effective_radius
        if ring is not None and radius is not None and not ring.inner_diameter < 2 * radius < ring.outer_diameter:
            raise Unfit(
                f"{1e3 * radius:g} mm lies outside the friction ring",
                f"{500 * ring.inner_diameter:g} to {500 * ring.outer_diameter:g} mm, its inner and outer radius",
                "correct the radius, the ring or a unit (a radius is half a diameter)",
                at=("effective_radius",),
                beside=[("friction_ring",)],
            )
        return self

    @model_validator(mode="after")
    def _pistons(self) -> Brake:
        reach = self.friction_ring.outer_diameter if self.friction_ring else 4 * (self.effective_radius or 0.0)
        if max(self.pistons_per_side) >= reach:
            raise Unfit(
                f"a piston of {1e3 * max(self.pistons_per_side):g} mm does not fit the brake",
                f"diameters below {1e3 * reach:g} mm",
                "check its unit",
                at=("pistons_per_side",),
                beside=[("friction_ring",), ("effective_radius",)],
            )
        return self

    @model_validator(mode="after")
    def _pads(self) -> Brake:
        """Pads cannot be larger than the ring that they rub on."""
        swept = self.swept_area
        if swept is not None and self.pads * self.pad_area > 2 * LARGEST_PADS * swept:
            raise Unfit(
                f"{self.pads} pads of {1e4 * self.pad_area:g} cm^2 are larger than both faces of the friction ring",
                f"at most {2e4 * swept / self.pads:.0f} cm^2 each",
                "correct pad_area (one pad's), pads (of both sides) or the ring",
                at=("pad_area",),
                beside=[("friction_ring",), ("pads",)],
            )
        return self

    @property
    def piston_area(self) -> float:
        """Area of the pistons on one side of the disc, m^2."""
        return sum(math.pi * d * d / 4 for d in self.pistons_per_side)

    @property
    def friction_area(self) -> float:
        """Friction area of all pads together, m^2 (what energy and power density refer to)."""
        return self.pads * self.pad_area

    @property
    def swept_area(self) -> float | None:
        """Swept ring of one disc face, m^2; None without a friction ring."""
        if self.friction_ring is None:
            return None
        return math.pi / 4 * (self.friction_ring.outer_diameter**2 - self.friction_ring.inner_diameter**2)
