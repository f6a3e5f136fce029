"""The brake as a test card states it: friction ring, pistons, pads, disc; SI."""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PositiveInt, field_validator, model_validator

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


class FrictionRing(Model):
    outer_diameter: Length
    inner_diameter: Length

    @model_validator(mode="after")
    def _ordered(self) -> FrictionRing:
        if self.outer_diameter <= self.inner_diameter:
            raise ValueError("outer_diameter must be above inner_diameter")
        return self


class Disc(Model):
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
            raise ValueError(f"{value:g} must be above 10 % and at most 100 %")
        return value

    @field_validator("heat_capacity", mode="before")
    @classmethod
    def _heat_capacity(cls, value: Any) -> Any:
        if value is None or (isinstance(value, str) and value.strip() == "carbon"):
            return value if value is None else "carbon"
        try:
            return _above_zero(to_si(value, "heat_capacity"), value)
        except ValueError as error:
            raise ValueError(f"{error}; or the word carbon") from error


class Pad(Model):
    mass: Mass | None = None
    thickness: Length | None = None
    minimum_thickness: Length | None = None
    density: Density | None = None


def _above_zero(number: float, shown: Any) -> float:
    if number <= 0:
        raise ValueError(f"{shown!r} must be above zero")
    return number


class Brake(Model):
    friction_ring: FrictionRing | None = None
    effective_radius: Length | None = None
    pistons_per_side: Annotated[tuple[Length, ...], Field(min_length=1, max_length=24)]
    pad_area: Area
    pads: Annotated[PositiveInt, BeforeValidator(as_number)] = 2
    efficiency: Share = 1.0
    threshold_pressure: Pressure = 0.0
    disc: Disc = Disc()
    pad: Pad = Pad()

    @field_validator("efficiency")
    @classmethod
    def _efficiency(cls, value: float) -> float:
        if not 0 < value <= 1.5:
            raise ValueError("must be above 0 and at most about 1")
        return value

    @model_validator(mode="after")
    def _radius(self) -> Brake:
        if self.friction_ring is None and self.effective_radius is None:
            raise ValueError("give friction_ring or effective_radius")
        reach = self.friction_ring.outer_diameter if self.friction_ring else 4 * (self.effective_radius or 0.0)
        if max(self.pistons_per_side) >= reach:
            raise ValueError(
                f"pistons_per_side: a piston of {max(self.pistons_per_side):g} m does not fit the brake; check its unit"
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
