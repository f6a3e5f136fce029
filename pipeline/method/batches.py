"""Settings of the batch comparison."""

from __future__ import annotations

from pydantic import Field

from pipeline.inputs.scalars import Probability
from pipeline.method.base import Settings

REVISION = 9  # of the rigs stage too, which has no settings of its own and shares the model of specimens


class Batches(Settings):
    significance: Probability = Field(0.05, description="level of each one-sided equivalence test and of `different`")
    chance_to_decide: Probability = Field(
        0.80, description="wanted chance of a decision, for the number of further specimens"
    )
