"""Medians, quantiles and means at a fraction of numpy's own time for short series: a stop asks for a hundred of them.

`median`, `quantiles` and `mean` leave out numpy's search for the axis and for NaN. `running_median` of three, five or seven neighbours sorts all of them
at once by networks of minimum and maximum (Knuth, The Art of Computer Programming 3, 5.3.4; from memory), which pick the same samples
that sorting each window would.
"""

from __future__ import annotations

import numpy as np

# pairs (lower, upper) that bring the middle value to the middle place
NETWORKS = {
    3: ((0, 1), (1, 2), (0, 1)),
    5: ((0, 1), (3, 4), (0, 3), (1, 4), (1, 2), (2, 3), (1, 2)),
    7: (
        (0, 5), (0, 3), (1, 6), (2, 4), (0, 1), (3, 5), (2, 6), (2, 3), (3, 6), (4, 5), (1, 4), (1, 3), (3, 4),
    ),
}  # fmt: skip


def median(values: np.ndarray) -> float:
    """Median of finite values (n,), n at least 1: numpy's to the last bit."""
    half, ordered = values.size // 2, values.copy()
    if values.size % 2:
        ordered.partition(half)
        return float(ordered[half])
    ordered.partition((half - 1, half))
    return float((ordered[half - 1] + ordered[half]) / 2)


def mean(values: np.ndarray) -> float:
    """Mean of values (n,), n at least 1: numpy's to the last bit."""
    return float(np.add.reduce(values) / values.size)


def quantiles(values: np.ndarray, *shares: float) -> list[float]:
    """Quantiles of finite values (n,), n at least 1, between neighbours linearly: numpy's to the last bit."""
    places = [share * (values.size - 1) for share in shares]
    low = [min(int(place), values.size - 1) for place in places]
    high = [min(at + 1, values.size - 1) for at in low]
    ordered = np.partition(values, sorted({*low, *high}))
    found = []
    for place, a, b in zip(places, low, high, strict=True):
        part, step = place - a, ordered[b] - ordered[a]
        found.append(float(ordered[a] + step * part if part < 0.5 else ordered[b] - step * (1 - part)))
    return found


def running_median(values: np.ndarray, width: int) -> np.ndarray:
    """Median of every `width` (3, 5 or 7) neighbours: (n,) -> (n - width + 1,); NaN where one of them is NaN."""
    size = values.size - width + 1
    places = [values[at : at + size] for at in range(width)]
    for low, high in NETWORKS[width]:
        places[low], places[high] = np.minimum(places[low], places[high]), np.maximum(places[low], places[high])
    return places[width // 2]
