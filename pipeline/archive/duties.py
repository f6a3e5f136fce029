"""Duty cycles: duties/<duty>.yaml. Speeds in m/s, temperatures in K, times in s."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, PositiveInt, field_validator, model_validator

from pipeline.inputs.model import Model
from pipeline.inputs.quantities import Conductance, Duration, Length, LinearSpeed, Mass, Share, Temperature
from pipeline.inputs.scalars import Number, Text, as_number


class Cooling(Model):
    h0: Conductance | None = None
    h1: Annotated[Number, Field(ge=0)] | None = None  # W/K per (m/s)^0.8
    opening: Share = 1.0

    @field_validator("opening")
    @classmethod
    def _opening(cls, value: float) -> float:
        if value > 1:
            raise ValueError("opening lies between 0 and 1 (1 = the rig's air as tested)")
        return value


class Event(Model):
    """One braking of the cycle; `start` and `end` are the vehicle's speeds."""

    start: LinearSpeed = Field(alias="from")
    end: LinearSpeed = Field(alias="to")
    brake_time: Duration
    then: Duration
    at: LinearSpeed

    @model_validator(mode="after")
    def _slows(self) -> Event:
        if not self.start > self.end:
            raise ValueError("from must be above to")
        if self.brake_time <= 0:
            raise ValueError("brake_time must be above zero")
        return self


class DutyCycle(Model):
    duty: Text
    vehicle_mass: Mass
    brake_share: Share
    rolling_radius: Length
    length: Length
    cycles: Annotated[PositiveInt, BeforeValidator(as_number), Field(le=100000)] = 1
    ambient: Temperature
    cooling: Cooling = Cooling()
    life: Length | None = None  # wanted, from new thickness to the minimum
    use: Literal["gentle", "hard"] | None = None
    events: Annotated[tuple[Event, ...], Field(min_length=1, max_length=2000)]

    @field_validator("brake_share")
    @classmethod
    def _share(cls, value: float) -> float:
        if not 0 < value <= 1:
            raise ValueError("brake_share lies above 0 and at most at 1")
        return value
