"""Settings of the friction map and window."""

from __future__ import annotations

from pydantic import Field

from pipeline.inputs.quantities import Duration, TemperatureDifference
from pipeline.inputs.scalars import Number, Probability, Truth
from pipeline.method.base import Settings

REVISION = 13


class Friction(Settings):
    confidence: Probability = Field(0.95, description="confidence of the bands and intervals")
    coverage: Probability = Field(0.90, description="share of single future stops inside the tolerance band")
    use_suspect: Truth = Field(False, description="let suspect stops into the models")
    stray_limit: Number = Field(2.0, gt=0.5, description="standard deviations beyond which a stray stop is held back")
    largest_gap: TemperatureDifference = Field(
        120.0, description="widest gap between neighbouring stops' temperatures that a value is given in"
    )
    least_range: TemperatureDifference = Field(
        30.0, description="least range of stop temperatures that a map is fitted over"
    )
    pause: Duration = Field(3600.0, description="rest before a stop from which it counts as the first after a pause")
