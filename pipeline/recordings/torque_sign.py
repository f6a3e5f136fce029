"""Which way torque points, told by its correlation with pressure.

Torque is positive when it slows the shaft. Braking raises pressure and torque together, so over a recording
the two correlate positively, whatever their offsets; a rig that counts torque the other way shows it in
every recording.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl

CLEAR = 0.5  # correlation above which a recording says something
NEARLY_ALL = 0.9


def moments(rows: pl.DataFrame) -> np.ndarray:
    """Sums over the rows that make the correlation: n, p, T, pp, TT, pT (MPa and kN m, for the sums'
    sake)."""
    pressure, torque = rows["pressure"].to_numpy() / 1e6, rows["torque"].to_numpy() / 1e3
    both = ~(np.isnan(pressure) | np.isnan(torque))
    if not both.all():
        pressure, torque = pressure[both], torque[both]
    return np.array(
        [pressure.size, pressure.sum(), torque.sum(), pressure @ pressure, torque @ torque, pressure @ torque]
    )


def correlation(sums: np.ndarray) -> float:
    """Correlation of pressure and torque from `moments`; 0 where either does not vary."""
    n, p, t, pp, tt, pt = sums
    if n < 3:
        return 0.0
    variances = (pp - p * p / n) * (tt - t * t / n)
    return float((pt - p * t / n) / np.sqrt(variances)) if variances > 1e-12 else 0.0


def against(correlations: Mapping[str, float]) -> tuple[bool, list[str]]:
    """Whether the whole test counts torque the other way, and the files that differ from the rest of the
    test."""
    clear = {file: value for file, value in correlations.items() if abs(value) > CLEAR}
    negative = [file for file, value in clear.items() if value < 0]
    positive = [file for file, value in clear.items() if value > 0]
    turned = len(negative) > NEARLY_ALL * len(clear) if clear else False
    return turned, positive if turned else negative
