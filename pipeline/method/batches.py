"""Settings of the batch comparison. Its revision is the rigs stage's too, which shares its model of specimens."""

from __future__ import annotations

from pydantic import Field

from pipeline.method.base import Probability, Settings

REVISION = 2


class Batches(Settings):
    alpha: Probability = Field(0.05, description="level of each one-sided equivalence test and of `different`")
    power: Probability = Field(0.80, description="wanted chance of a decision, for the number of further specimens")
