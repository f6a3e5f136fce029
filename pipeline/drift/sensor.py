"""Drift of the torque chain, seen in the energy ratio.

The ratio of friction work to the energy taken from the shaft is 1 whatever the material does; a gain or offset of the
torque chain moves it and friction by the same share. Its change over the watched stops is found like one of friction.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.drift.change import _thinned, channel_noise, use_begins
from pipeline.drift.detection import detect, problem
from pipeline.drift.monitoring import Watch
from pipeline.drift.onset import Onset, date
from pipeline.drift.series import Series
from pipeline.drift.shapes import ramps, steps
from pipeline.method.drift import Drift

Array = NDArray[np.float64]

FLOOR = 0.0015  # least scatter of ln energy ratio believed, so that a rig without noise does not alarm on rounding
SIGNIFICANT = 1.5  # how far beyond its limit the statistic must lie: a rig's ratio wanders a little by itself


class TorqueDrift(NamedTuple):
    """Change of ln energy ratio: onset, size at the end with interval (shares), and its effect on ln mu at each stop."""

    onset: Onset
    size: float
    low: float
    high: float
    effect: Array


def torque_drift(s: Series, w: Watch, settings: Drift) -> TorqueDrift | None:
    """The change of the energy ratio beyond chance and beyond the method's threshold; None without one."""
    index = np.sort(np.r_[w.checks, w.use])
    index = index[np.isfinite(s.ratio[index])]
    if len(index) < 8:
        return None
    noise = channel_noise(s, index, s.ratio, 0.001, FLOOR)
    if noise is None:
        return None
    stop = s.stop[index]
    inner = _thinned(stop[2:-2])
    shapes = steps(stop, inner).joined(ramps(stop, np.r_[stop[0], inner]))
    spread = np.full(len(index), noise.sigma)
    baseline = np.arange(len(index)) < max(4, len(index) // 4)
    p = problem(stop, s.ratio[index], s.group[index], s.block[index], baseline, spread, noise, [])
    found = detect(p, shapes, noise, spread, s.block[index], settings)
    best = found.best
    size = float(found.amplitude[best])
    if abs(found.z[best]) < SIGNIFICANT * found.limits.ratio or abs(size) < settings.torque_change:
        return None
    onset = date(
        s.ratio[index], p.design, p.whiten, stop, shapes, np.ones(len(index), bool), float(np.sign(size)),
        use_begins(s, settings)[:0], settings.confidence,
    )  # fmt: skip
    u = abs(size / found.z[best])
    whole = steps if shapes.family[best] == "step" else ramps
    column = whole(s.stop, shapes.onset[best : best + 1]).columns[:, 0]
    at_end = column[index[-1]] or 1.0
    return TorqueDrift(
        onset,
        float(np.expm1(size)),
        float(np.expm1(size - 2 * u)),
        float(np.expm1(size + 2 * u)),
        column / at_end * size,
    )
