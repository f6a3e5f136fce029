"""Settings of segmentation: where braking starts and ends."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field

from pipeline.inputs.quantities import AngularSpeed, Duration, Pressure
from pipeline.method.base import Settings

REVISION = 3


class Segmentation(Settings):
    bounds: ClassVar = {
        "on_pressure": ("0 bar", "100 bar"),
        "off_pressure": ("0 bar", "100 bar"),
        "least_duration": ("0 s", "60 s"),
        "least_interruption": ("0 s", "60 s"),
    }
    on_pressure: Pressure = Field(1.0e5, description="pressure above rest at which braking starts")
    off_pressure: Pressure = Field(0.6e5, description="pressure above rest below which braking has ended")
    least_duration: Duration = Field(0.3, description="shorter applications are not stops")
    least_interruption: Duration = Field(0.2, description="shorter losses of pressure or speed end no braking")
    turning_speed: AngularSpeed = Field(3.0, description="the shaft turns above this speed")
    lower_speed: AngularSpeed = Field(0.5, description="a stop has ended below this speed")
