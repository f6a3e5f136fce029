"""Drift of the torque chain, seen in the energy ratio.

The ratio of friction work to the energy taken from the shaft is 1 whatever the material does; a gain or offset of the
torque chain moves it and friction by the same share. Every stop with a ratio is used, whatever its purpose, each set of
conditions about a level of its own, since a rig's ratio can differ a little between hard and gentle stops.
"""

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from pipeline.constants import Array
from pipeline.drift.change import _thinned, channel_noise
from pipeline.drift.detection import problem, shape_scores
from pipeline.drift.onset import Onset, date
from pipeline.drift.series import Series
from pipeline.drift.shapes import ramps, steps
from pipeline.method.drift import Drift

FLOOR = 0.0015  # least scatter of ln energy ratio believed, so that a rig without noise does not alarm on rounding
SIGNIFICANT = (
    6.0  # scores beyond: the limit for 1 % false alarms lies near 4, but a rig's ratio wanders a little by itself
)
MOST = 400  # stops tested; longer tests are thinned


class TorqueDrift(NamedTuple):
    """Change of ln energy ratio: onset, size at the end with interval (shares), and its effect on ln mu at each
    stop.
    """

    onset: Onset
    size: float
    low: float
    high: float
    effect: Array


def torque_drift(s: Series, settings: Drift, friction_sigma: float = 0.02) -> TorqueDrift | None:
    """The change of the energy ratio beyond chance and beyond the method's threshold; None without one.

    Its effect on friction is the ratio of each stop where that is known well against the scatter of friction
    (`friction_sigma`), which holds for offsets as for gains; else the fitted change.
    """
    s = replace(s, group=np.where(s.group >= 0, s.group, 100_000 + s.block))
    index = np.flatnonzero(np.isfinite(s.ratio))
    _, inverse, count = np.unique(s.group[index], return_inverse=True, return_counts=True)
    index = index[count[inverse] >= 3]
    index = index[:: max(1, -(-len(index) // MOST))]
    if len(index) < 8:
        return None
    noise = channel_noise(s, index, s.ratio, 0.001, FLOOR)
    if noise is None:
        return None
    stop = s.stop[index]
    spread = np.full(len(index), noise.sigma)
    p = problem(stop, s.ratio[index], s.group[index], s.block[index], np.ones(len(index), bool), spread, noise, [])
    inner = _thinned(stop[2:-2])
    shapes = steps(stop, inner).joined(ramps(stop, np.r_[stop[0], inner]))
    _, length, z = shape_scores(p, shapes)
    best = int(np.argmax(np.abs(z)))
    size = float(z[best] / length[best]) if length[best] else 0.0
    if abs(z[best]) < SIGNIFICANT or abs(size) < settings.torque_change:
        return None
    everywhere = steps(stop, stop[2:-2]).joined(ramps(stop, stop[2:-2]))
    onset = date(
        s.ratio[index],
        p.design,
        p.whiten,
        stop,
        everywhere,
        np.ones(len(index), bool),
        float(np.sign(size)),
        stop[:0],
        settings.confidence,
    )
    u = abs(size / z[best])
    whole = steps if onset.family == "step" else ramps
    column = whole(s.stop, np.array([onset.stop])).columns[:, 0]
    at_end = column[index[-1]] or 1.0
    size = onset.size_checks
    fitted = column / at_end * size
    known = np.isfinite(s.ratio) & (noise.sigma <= 0.5 * friction_sigma)
    return TorqueDrift(
        onset,
        float(np.expm1(size)),
        float(np.expm1(size - 2 * u)),
        float(np.expm1(size + 2 * u)),
        np.where(known, s.ratio, fitted),
    )
