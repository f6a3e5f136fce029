"""Settings of reduction: evaluation window, averaging, radius rule, temperature."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from pipeline.inputs.quantities import Duration, Pressure, Share
from pipeline.inputs.scalars import Number, Truth
from pipeline.method.base import Settings

REVISION = 11


class Reduction(Settings):
    bounds: ClassVar = {
        "build_up": ("10 %", "100 %"),
        "least_window": ("0 s", "60 s"),
        "thermocouple_lag": ("0 s", "60 s"),
    }
    average: Literal["distance", "time", "energy"] = Field(
        "distance", description="weights of the nominal mu: w dt, dt or T w dt"
    )
    drag_correction: Truth = Field(True, description="take the drag torque off; false takes only the offset off")
    radius: Literal["mean", "uniform_pressure", "uniform_wear"] = Field(
        "mean", description="friction radius from the friction ring, where the card gives no effective_radius"
    )
    build_up: Share = Field(0.95, description="share of the plateau at which the evaluation window starts")
    temperature: Literal["initial", "mean", "peak", "end"] = Field(
        "initial", description="temperature that a stop stands at on the friction map"
    )
    least_window: Duration = Field(0.3, description="a shorter evaluation window gives no mu")
    torque_pressure_correlation: Annotated[Number, Field(ge=-1, le=1)] = Field(
        0.0, description="correlation of the torque's and the pressure's calibration errors"
    )
    threshold_accuracy: Pressure = Field(
        0.2e5, gt=0, description="limits of the card's threshold_pressure where its sensors do not say them"
    )
    threshold_unknown: Pressure = Field(
        0.5e5, gt=0, description="limits of the threshold pressure where the card gives none and 0 is taken"
    )
    balance_limit: Share = Field(
        0.03,
        description="an energy ratio whose median is off by more is a finding; so is less where the stated "
        "accuracies allow less",
    )
    balance_gross: Share = Field(
        0.10, description="an energy ratio whose median is off by more makes every stop of the test suspect"
    )
    thermocouple_lag: Duration = Field(
        1.0,
        description="limit of the time by which the disc thermocouple lags; feeds the end temperature's uncertainty",
    )
    ripple_limit: Share = Field(0.05, description="torque ripple at a shaft order above which it is a finding")
    plausible_mu: tuple[Number, Number] = Field(
        (0.05, 0.9), description="a stop's mu outside these is suspect: a unit or a sensor, not a material"
    )
