"""Values of the stops next in temperature: a rolling window in order of temperature, so that it costs a
sort and no more.
"""

from __future__ import annotations

import numpy as np


def around(temperature: np.ndarray, values: np.ndarray, count: int) -> np.ndarray:
    """For every stop the values of `count` stops around it in order of temperature (fewer where there are
    fewer), itself among them: shape (n, count).
    """
    n = temperature.size
    count = min(count, n)
    order = np.argsort(temperature, kind="stable")
    first = np.clip(np.arange(n) - count // 2, 0, n - count)
    windows = np.empty((n, count))
    windows[order] = values[order][first[:, None] + np.arange(count)]
    return windows
