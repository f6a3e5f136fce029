"""A law's parameters with the intervals that readings and heat inputs give them together.

The readings' interval is the profile's, at the inputs' values. What the inputs do to the best value is another, by their draws; the
two are independent and go together by their squares, each side of its own, rates by their logarithms (an interval that reaches zero stays
there). Shares of variance: of the readings by the profile's width, of the inputs by what goes with their draws in the best values.
"""

from __future__ import annotations

import numpy as np
from scipy import special

from pipeline.heat.propagation import READINGS, by_source, dominant, shares
from pipeline.results.wear import Parameter
from pipeline.wear.heated import Heated
from pipeline.wear.inference import Inference


def parameter(found: Inference, warmed: Heated, index: int, confidence: float, *, pinned: bool) -> Parameter:
    """Parameter `index`; pinned: its interval is closed and to be stated."""
    law = found.problem.law
    unit, value = law.parameters[index][1], float(found.parameters[index])
    if not pinned:
        return Parameter(value=value, unit=unit)
    low, high = (float(end) for end in found.intervals[index])
    if not warmed.inputs:
        return Parameter(value=value, low=low, high=high, unit=unit)
    rate = index < len(law.rates) and value > 0
    best, tail = _scaled(warmed.best[:, index], rate), (1 - confidence) / 2
    down, up = np.quantile(best, [tail, 1 - tail]) - _scaled(value, rate)
    made = shares(best, warmed.z, READINGS) | {READINGS: _variance(value, (low, high), confidence, rate)}
    told = by_source(made)
    return Parameter(
        value=value,
        low=_wider(value, low, min(float(down), 0.0), rate),
        high=_wider(value, high, max(float(up), 0.0), rate),
        unit=unit,
        by_source=told,
        dominated_by=dominant(told),
    )


def _scaled(values: np.ndarray | float, rate: bool) -> np.ndarray:
    return np.log(np.maximum(values, 1e-300)) if rate else np.asarray(values, float)


def _wider(value: float, end: float, by: float, rate: bool) -> float:
    """An end moved out by what the inputs do on its side."""
    if rate and end <= 0:
        return end
    reach = _scaled(end, rate) - _scaled(value, rate)
    reach = float(np.copysign(np.hypot(reach, by), reach))
    return float(value * np.exp(reach)) if rate else value + reach


def _variance(value: float, ends: tuple[float, float], confidence: float, rate: bool) -> float:
    """Variance that an interval of this width stands for."""
    low, high = ends
    wide = _scaled(high, rate) - _scaled(low, rate) if low > 0 or not rate else 2 * np.log(max(high / value, 1.0))
    return float((wide / 2 / special.ndtri((1 + confidence) / 2)) ** 2)
