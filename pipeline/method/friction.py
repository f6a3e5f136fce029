"""Settings of the friction map and window."""

from __future__ import annotations

from pydantic import Field

from pipeline.method.base import Probability, Settings, Truth

REVISION = 1


class Friction(Settings):
    confidence: Probability = Field(0.95, description="confidence of the bands and intervals")
    coverage: Probability = Field(0.90, description="share of single future stops inside the tolerance band")
    use_suspect: Truth = Field(False, description="let suspect stops into the models")
