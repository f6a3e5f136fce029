"""What a card states of a sensor: its full scale and the limits of its accuracy."""

from __future__ import annotations

import re
from typing import Any

from pydantic import field_validator

from pipeline.errors import Unfit
from pipeline.inputs.model import Model
from pipeline.inputs.quantities import to_si


class Sensor(Model):
    full_scale: str | None = None
    accuracy: str

    @field_validator("full_scale", "accuracy", mode="before")
    @classmethod
    def _as_text(cls, value: Any) -> Any:
        if isinstance(value, dict | list):
            raise Unfit("is a list or a mapping", "a value with a unit, or a share in %", "write 0.2 % or 4 K")
        return None if value is None else str(value)


class SensorLimit(Model):
    """Half-width of a sensor's stated limits (rectangular), SI: absolute or relative to the reading; full scale in
    SI.
    """

    absolute: float | None = None
    relative: float | None = None
    full_scale: float | None = None


def limit_of(sensor: Sensor, dimension: str) -> SensorLimit:
    """The sensor's limits; raises ValueError when full scale or accuracy cannot be read."""
    full = to_si(sensor.full_scale, dimension) if sensor.full_scale is not None else None
    text = sensor.accuracy.strip()
    if text.endswith("%") or re.match(r"^[-+.,\deE]+$", text):
        share = to_si(text, "share")
        if full is not None:
            return SensorLimit(absolute=abs(share) * full, full_scale=full)
        return SensorLimit(relative=abs(share))
    difference = "temperature_difference" if dimension == "temperature" else dimension
    return SensorLimit(absolute=abs(to_si(text, difference)), full_scale=full)
