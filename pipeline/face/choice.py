"""Law or map: which of the two windows and duties use.

Both are asked for the mean friction of cells that they were not shown. The law is used where the root mean square of its
errors is smaller than the map's by MARGIN or more, and a one-sided randomisation test over the cells (Fisher 1935, The Design
of Experiments, 21) says so with LEAST_P or less; else the map is, which needs no heat conduction and so assumes less.

A cell's gain is the map's squared error less the law's. Were the two alike, each gain might as well have the other sign; p is
the share of random signs with which the gains would sum to as much. A rank test asks in how many cells the law is better: a map
that is wrong in the cold alone, and there by a third, is not found by it, as elsewhere the stops' own scatter decides.
"""

from __future__ import annotations

import numpy as np

from pipeline.constants import Array
from pipeline.face.left_out import rms
from pipeline.results.face import FaceChoice

MARGIN, LEAST_P = 0.10, 0.05
FEWEST_CELLS = 8
DRAWS = 4999
RULE = (
    f"the law where its rms error at cells left out is smaller than the map's by {100 * MARGIN:.0f} % or more and a one-sided "
    f"randomisation test over the cells' squared errors gives p below {LEAST_P:g}, and its heat inputs are none that what was known rules out; else the map"
)


def choose(law: Array, map_: Array) -> FaceChoice:
    """The choice from the errors in mu of every cell [cells]; NaN where one of the two gives no value."""
    both = np.isfinite(law) & np.isfinite(map_)
    count = int(both.sum())
    if count < FEWEST_CELLS:
        why = f"{count} cells that both predict are too few to compare by; {FEWEST_CELLS} are needed"
        return FaceChoice(used="map", rule=RULE, margin=MARGIN, least_p=LEAST_P, why=why)
    a, b = rms(law[both]), rms(map_[both])
    p = by_signs(map_[both] ** 2 - law[both] ** 2)
    better = a <= (1 - MARGIN) * b and p < LEAST_P
    figures = f"rms error at {count} cells left out: law {a:.4f}, map {b:.4f}; p = {p:.2g}"
    why = (
        f"the law predicts what it was not shown better ({figures})"
        if better
        else f"the law is not clearly better ({figures})"
    )
    return FaceChoice(used="law" if better else "map", rule=RULE, margin=MARGIN, p_value=p, least_p=LEAST_P, why=why)


def by_signs(gain: Array) -> float:
    """Share of random signs (the gains' own among them) with which gains [n] sum to as much as they do."""
    signs = np.random.default_rng(0).choice([-1.0, 1.0], size=(DRAWS, gain.size))
    return float((1 + (signs @ gain >= gain.sum() * (1 - 1e-12)).sum()) / (DRAWS + 1))
