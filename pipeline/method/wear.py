"""Settings of the wear laws."""

from __future__ import annotations

from pydantic import Field

from pipeline.inputs.quantities import Conductivity, Length, Mass, PowerDensity, Share, Temperature
from pipeline.inputs.scalars import Probability, Truth
from pipeline.method.base import Settings

REVISION = 15


class Wear(Settings):
    confidence: Probability = Field(0.95, description="confidence of parameters' and rates' intervals")
    central_temperature: Temperature = Field(
        873.15, description="fixed temperature th0 at which the oxidation law's rate B is stated"
    )
    power_reference: PowerDensity = Field(
        1.0e6, description="fixed power density P0 of the power law, over the pads' friction area"
    )
    surface_temperature: Truth = Field(
        True, description="let oxidation follow the modelled surface; false: the indicated temperature"
    )
    conductivity: Conductivity = Field(
        20.0, description="through-thickness conductivity where the card's disc states none"
    )
    heat_share: Share = Field(
        0.95,
        gt=0.1,
        le=1,
        description="share of the friction heat that goes into the disc where the card states none, in wear, duty and the law at the face",
    )
    thickness_u: Length = Field(
        3.0e-6, description="standard uncertainty of a reading's mean thickness where readings give none"
    )
    mass_u: Mass = Field(5.0e-5, description="standard uncertainty of a mass reading where repeats give none")
    model_u: Share = Field(
        0.01,
        description="share of a kind of use's loss by which any law may be wrong, in all its intervals alike, beside the readings' noise",
    )
    specimen_scatter: Share = Field(
        0.08, description="expected scatter of wear between specimens of a compound; counts as 4 degrees of freedom"
    )
    parts_apart: Share = Field(
        0.3,
        gt=0,
        description="how far the factors of a batch's mechanical and oxidative wear are expected to differ (standard deviation) where its readings do not tell",
    )
