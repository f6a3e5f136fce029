"""Settings of the duty projection."""

from __future__ import annotations

from pydantic import Field

from pipeline.inputs.quantities import Share
from pipeline.inputs.scalars import Fraction, Probability
from pipeline.method.base import Settings

REVISION = 21


class Duty(Settings):
    window_share: Fraction = Field(
        0.90, description="share of a settled cycle's energy that the opening to run must keep in the window"
    )
    emissivity: Share = Field(0.80, description="of the disc, where neither card nor cool-downs tell it")
    natural_convection: Fraction = Field(
        0.25, description="share of the rig's convection that stays with the duct closed, where no duty file gives h0"
    )
    film_growth: Fraction = Field(
        0.0005,
        description="loss of mu per J/mm2 of pad that a stop of a use's warm-up is taken to bring where it starts colder than anything "
        "tested and no test of the compound glazed; where one did, the largest growth that it showed is taken (assumed)",
    )
    confidence: Probability = Field(0.95, description="confidence of wear and life")
