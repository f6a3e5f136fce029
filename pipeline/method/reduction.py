"""Settings of reduction: evaluation window, averaging, radius rule, temperature."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pipeline.archive.quantities import Share
from pipeline.method.base import Settings, Truth

REVISION = 1


class Reduction(Settings):
    average: Literal["distance", "time", "energy"] = Field(
        "distance", description="weights of the nominal mu: w dt, dt or T w dt"
    )
    drag_correction: Truth = Field(True, description="take the drag torque off; false takes only the offset off")
    radius: Literal["mean", "uniform_pressure", "uniform_wear"] = Field(
        "mean", description="friction radius from the friction ring, where the card gives no effective_radius"
    )
    build_up: Share = Field(0.95, description="share of the plateau at which the evaluation window starts")
    temperature: Literal["initial", "mean", "peak", "end"] = Field(
        "initial", description="temperature that a stop stands at on the friction map"
    )
