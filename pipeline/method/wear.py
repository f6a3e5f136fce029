"""Settings of the wear laws."""

from __future__ import annotations

from pydantic import Field

from pipeline.method.base import Probability, Settings

REVISION = 1


class Wear(Settings):
    confidence: Probability = Field(0.95, description="confidence of parameters' and rates' intervals")
