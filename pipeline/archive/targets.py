"""What a compound must meet: targets/<compound>.yaml. Bands of mu are plain numbers, temperatures in K, wear in m."""

from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator, field_validator, model_validator

from pipeline.inputs.model import Model
from pipeline.inputs.quantities import EnergyDensity, Length, Pressure, Temperature
from pipeline.inputs.scalars import Number, Text


def _positive_number(value: float) -> float:
    if value <= 0:
        raise ValueError(f"{value} must be above zero")
    return value


PositiveNumber = Annotated[Number, BeforeValidator(lambda v: _positive_number(float(v)))]


class At(Model):
    """Conditions of the window asked for, where the reference's are not meant."""

    pressure: Pressure
    energy_density: EnergyDensity

    @field_validator("pressure", "energy_density")
    @classmethod
    def _above_zero(cls, value: float) -> float:
        return _positive_number(value)


class Target(Model):
    compound: Text
    temperature_window: tuple[Temperature, Temperature] | None = None
    mu: tuple[PositiveNumber, PositiveNumber] | None = None
    at: At | None = None
    mu_batch_margin: PositiveNumber | None = None
    disc_wear: Length | None = None  # per stop per face
    wear_batch_ratio: tuple[PositiveNumber, PositiveNumber] | None = None

    @model_validator(mode="after")
    def _ordered(self) -> Target:
        for name in ("temperature_window", "mu", "wear_batch_ratio"):
            pair = getattr(self, name)
            if pair is not None and not pair[0] < pair[1]:
                raise ValueError(f"{name}: write [lower, upper]")
        if self.wear_batch_ratio is not None and not self.wear_batch_ratio[0] < 1 < self.wear_batch_ratio[1]:
            raise ValueError("wear_batch_ratio: must enclose 1")
        return self
