"""Settings of the duty projection."""

from __future__ import annotations

from pydantic import Field

from pipeline.archive.quantities import Share
from pipeline.method.base import Settings

REVISION = 1


class Duty(Settings):
    disc_heat_share: Share = Field(1.0, description="share of the friction heat that goes into the disc")
