"""Settings of drift detection."""

from __future__ import annotations

from pydantic import Field

from pipeline.inputs.quantities import Duration, Pressure, Temperature, TemperatureDifference
from pipeline.inputs.scalars import Count, Fraction, Number, Probability
from pipeline.method.base import Settings

REVISION = 4


class Drift(Settings):
    false_alarm_rate: Probability = Field(0.01, ge=0.001, description="share of healthy tests that may raise an alarm")
    confidence: Probability = Field(0.95, description="confidence of the intervals of onset, loss and evidence")
    least_loss: Fraction = Field(0.02, description="share of mu below which a change is not called one")
    cusum_allowance: Number = Field(0.5, description="allowance k of the cumulative sum, standard deviations")
    ewma_weight: Fraction = Field(0.2, description="weight lambda of the newest residual in the EWMA")
    matched_temperature: TemperatureDifference = Field(
        40.0, description="checks further apart in initial temperature do not match"
    )
    matched_pressure: Fraction = Field(
        0.12, description="relative difference of wanted pressure up to which checks match"
    )
    matched_speed: Fraction = Field(0.08, description="relative difference of start speed up to which checks match")
    low_power_share: Number = Field(
        0.75,
        description="a stop is low-energy below this share of the checks' power density, if not hotter than they are",
    )
    low_temperature_below: TemperatureDifference = Field(
        80.0,
        description="so far below the checks' initial temperature a stop of the checks' power is low-energy too",
    )
    low_temperature: Temperature = Field(
        473.15, description="a stop that starts colder is low-energy in a test without checks"
    )
    high_power_share: Number = Field(
        1.3,
        description="a stop is high-energy above this share of the checks' power density, if not colder than they are",
    )
    least_exposure: Count = Field(10, description="low-energy stops needed before a fall can be laid to them")
    least_clearing: Count = Field(4, description="high-energy stops in a row that count as a recovery test")
    recovered_share: Fraction = Field(
        0.95, description="recovered: level after high-energy stops over the level before the loss, at least"
    )
    torque_change: Fraction = Field(
        0.015, description="change of the energy ratio that counts as one of the torque chain"
    )
    rest_pressure_change: Pressure = Field(
        3.0e4, description="change of the pressure at rest that counts as a sensor's"
    )
    pause: Duration = Field(7200.0, description="idle time from which the surface may have taken up moisture")
    pause_stops: Count = Field(5, description="stops after a pause that moisture may touch")
    dry_above: Temperature = Field(513.15, description="a stop that starts hotter than this carries no moisture")
