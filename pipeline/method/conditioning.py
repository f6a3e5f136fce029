"""Settings of conditioning: filter, zero offsets, lag. Channels as recorded -> channels as used."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field

from pipeline.inputs.quantities import Duration, Frequency, Share
from pipeline.inputs.scalars import Count, Truth
from pipeline.method.base import Settings

REVISION = 6


class Conditioning(Settings):
    bounds: ClassVar = {
        "filter_cutoff": ("0.1 Hz", "100 kHz"),
        "largest_lag": ("0 s", "10 s"),
        "zero_window": ("0.01 s", "60 s"),
    }
    filter_cutoff: Frequency = Field(
        20.0, description="low-pass of torque and pressure; -3 dB of the forward-backward pair"
    )
    filter_order: Count = Field(2, ge=1, le=8, description="order of one pass of the Butterworth low-pass")
    lag_correction: Truth = Field(True, description="shift torque onto pressure by the test's lag")
    largest_lag: Duration = Field(0.3, description="longest lag looked for")
    gap_periods: Count = Field(5, ge=2, description="a step longer than this many sample periods is a gap")
    zero_window: Duration = Field(0.5, description="time before the brake start that zero readings are taken from")
    calibrations: Truth = Field(
        True, description="correct torque and pressure by what the rig's events say that calibrations found"
    )
    offset_limit: Share = Field(0.005, description="share of full scale above which an offset is a finding")
