"""Which side of the window a cycle leaves it on, in words."""

from __future__ import annotations

import numpy as np

from pipeline.constants import Array
from pipeline.duty import rubbing
from pipeline.duty.cycle import Events, History
from pipeline.duty.project import Brake
from pipeline.wording import in_percent


def side_of(settled: History, events: Events, brake: Brake, k: int) -> tuple[float, float]:
    """Share of the energy that is too cold for the window, and too hot, at the opening of index k."""
    assert brake.window is not None
    temperature = rubbing.attributed(settled, brake.temperature_kind, k)
    weight = events.energy / events.energy.sum()
    return float(weight @ (temperature < brake.window[0])), float(weight @ (temperature > brake.window[1]))


def why_none(events: Events, settled: History, brake: Brake, grid: Array, share: Array, wanted: float) -> str:
    """Why no opening holds the wanted share: which side fails at the best opening."""
    best = int(np.argmax(share))
    cold, hot = side_of(settled, events, brake, best)
    sides = [f"{in_percent(x)} {word}" for x, word in ((cold, "too cold"), (hot, "too hot")) if x > 0]
    return (
        f"no opening holds {in_percent(wanted)} of the energy in the window; the best, {grid[best]:.2f}, holds "
        f"{in_percent(share[best])} "
        f"({', '.join(sides)})"
    )
