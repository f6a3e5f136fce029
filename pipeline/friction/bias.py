"""The thermocouple's bias in a window's ends, which are in indicated temperature.

A bias common to all stops moves the whole curve along the temperature. No scatter of stops shows it, so that the ends' intervals do not
hold it; it goes together with them by the squares, each side of its own. Who compares a window with what the same thermocouple
shows takes it out again (`without_bias`).
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from scipy import special

from pipeline.results.friction_map import EndInterval, Window, WindowEstimate
from pipeline.results.model import renewed

Ends = TypeVar("Ends", Window, WindowEstimate)


def with_bias(window: Ends, u_k: float) -> Ends:
    """The window, or the estimate of one, with the intervals of its ends widened by a bias of standard uncertainty `u_k` in K."""
    return renewed(
        window,
        low_interval_c=_wider(window.low_c, window.low_interval_c, u_k, window.confidence),
        high_interval_c=_wider(window.high_c, window.high_interval_c, u_k, window.confidence),
        thermocouple_u_k=u_k,
    )


def without_bias(window: Window) -> Window:
    """The window with intervals of its ends that hold no bias."""
    u_k = window.thermocouple_u_k
    if not u_k:
        return window
    return renewed(
        window,
        low_interval_c=_wider(window.low_c, window.low_interval_c, u_k, window.confidence, -1),
        high_interval_c=_wider(window.high_c, window.high_interval_c, u_k, window.confidence, -1),
        thermocouple_u_k=None,
    )


def _wider(end: float, interval: EndInterval, u_k: float, confidence: float, sign: int = 1) -> EndInterval:
    if interval.low is None or interval.high is None:
        return interval
    more = sign * (float(special.ndtri((1 + confidence) / 2)) * u_k) ** 2
    low, high = (float(np.sqrt(max(side**2 + more, 0.0))) for side in (end - interval.low, interval.high - end))
    return renewed(interval, low=end - low, high=end + high)
