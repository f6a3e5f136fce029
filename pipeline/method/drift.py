"""Settings of drift detection."""

from __future__ import annotations

from pydantic import Field

from pipeline.method.base import Probability, Settings

REVISION = 1


class Drift(Settings):
    false_alarm_rate: Probability = Field(0.01, description="share of healthy tests that may raise an alarm")
