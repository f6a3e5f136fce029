"""Law or map: which of the two windows and duties use.

Both are asked for the mean friction of cells that they were not shown. The law is used where the root mean square of its
errors is smaller than the map's by MARGIN or more, and a one-sided signed-rank test over the cells (Wilcoxon 1945), each cell's two
errors paired, says so with LEAST_P or less; else the map is, which needs no heat conduction and so assumes less.
"""

from __future__ import annotations

import numpy as np

from pipeline.constants import Array
from pipeline.face.left_out import rms
from pipeline.results.face import FaceChoice

MARGIN, LEAST_P = 0.10, 0.05
FEWEST_CELLS = 8
RULE = (
    f"the law where its rms error at cells left out is smaller than the map's by {100 * MARGIN:.0f} % or more and a one-sided "
    f"signed-rank test over the cells gives p below {LEAST_P:g}; else the map"
)


def choose(law: Array, map_: Array) -> FaceChoice:
    """The choice from the errors in mu of every cell [cells]; NaN where one of the two gives no value."""
    from scipy.stats import wilcoxon

    both = np.isfinite(law) & np.isfinite(map_)
    count = int(both.sum())
    if count < FEWEST_CELLS:
        why = f"{count} cells that both predict are too few to compare by; {FEWEST_CELLS} are needed"
        return FaceChoice(used="map", rule=RULE, margin=MARGIN, least_p=LEAST_P, why=why)
    a, b = rms(law[both]), rms(map_[both])
    gain = np.abs(map_[both]) - np.abs(law[both])
    p = float(wilcoxon(gain, alternative="greater").pvalue) if np.any(gain) else 1.0
    better = a <= (1 - MARGIN) * b and p < LEAST_P
    figures = f"rms error at {count} cells left out: law {a:.4f}, map {b:.4f}; p = {p:.2g}"
    why = (
        f"the law predicts what it was not shown better ({figures})"
        if better
        else f"the law is not clearly better ({figures})"
    )
    return FaceChoice(used="law" if better else "map", rule=RULE, margin=MARGIN, p_value=p, least_p=LEAST_P, why=why)
