"""Constants that every package uses: one place, one name."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

ZERO_C = 273.15  # K, zero of the Celsius scale (SI brochure, 9th edition, 2.3.1)
MAD_TO_SD = 1.4826  # median absolute deviation to standard deviation of a normal distribution: 1 / Phi^-1(3/4)
RAD_PER_S = math.pi / 30  # rad/s in one revolution per minute
RPM = 30 / math.pi  # revolutions per minute in one rad/s

Array = NDArray[np.float64]
Values = float | Array  # a number, or an array that broadcasts with the others


def normal_reach(confidence: float) -> float:
    """Standard uncertainties from the middle to the ends of a normal's two-sided interval: 1.96 at 95 %.

    A width says nothing without the confidence that it was made with: divided by this it is a standard uncertainty.
    """
    return NormalDist().inv_cdf((1 + confidence) / 2)
