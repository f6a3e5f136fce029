"""Low friction in the first stops after a long idle time, gone after a few: the mark of moisture.

Each pause's first stops are compared with later stops at matched conditions. The weight falls from stop to stop, since
what the first stops dry, the next ones no longer carry.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from pipeline.drift.monitoring import departures
from pipeline.drift.noise import Repeatability, covariance
from pipeline.drift.series import Series
from pipeline.method.drift import Drift

Array = NDArray[np.float64]


class Damp(NamedTuple):
    """A pause's effect: first stop, idle time, its initial temperature, the dip (share, negative) with interval and limit."""

    stop: int
    idle_s: float
    temperature_c: float
    dip: float
    low: float
    high: float
    limit: float
    stops: int
    beyond: bool
    index: NDArray[np.int64]


def after_pauses(s: Series, noise: Repeatability, settings: Drift) -> list[Damp]:
    """The dip after each pause that can be compared with matched stops; the largest dips are `beyond` chance."""
    starts = [np.flatnonzero(s.pause == p)[0] for p in np.unique(s.pause[s.pause >= 0])]
    found = []
    for start in starts:
        compared = _compare(s, int(start), noise, settings, max(1, len(starts)))
        if compared is not None:
            found.append(compared)
    return found


def _compare(s: Series, start: int, noise: Repeatability, settings: Drift, pauses: int) -> Damp | None:
    known = np.isfinite(s.friction) & (s.group >= 0)
    first = np.arange(start, min(len(s), start + settings.pause_stops))
    first = first[known[first] & (s.block[first] == s.block[start])]
    if len(first) == 0:
        return None
    group = s.group[first[0]]
    first = first[s.group[first] == group]
    rest = np.flatnonzero(known & (s.group == group) & ~s.damp)
    near = np.argsort(np.abs(rest - start), kind="stable")[:12]
    later = np.sort(rest[near])
    later = later[~np.isin(later, first)]
    if len(later) < 3:
        first, later = first[:2], first[2:]
    if len(later) < 3:
        return None
    index = np.r_[first, later]
    effect, columns = departures(s, index, known & ~np.isin(np.arange(len(s)), first))
    values = s.friction[index] - effect
    order = np.argsort(s.stop[index])
    matrix = covariance(s.stop[index][order], s.block[index][order], np.full(len(index), noise.sigma), noise.rho,
                        noise.block_sigma, [c[order] for c in columns])  # fmt: skip
    position = np.argsort(order)
    matrix = matrix[np.ix_(position, position)]
    weight = np.zeros(len(index))
    falling = 0.6 ** np.arange(len(first))
    weight[: len(first)] = falling / falling.sum()
    weight[len(first) :] = -1 / len(later)
    dip, u = float(weight @ values), float(np.sqrt(weight @ matrix @ weight))
    t = -float(stdtrit(noise.dof, settings.false_alarm_rate / 2 / pauses))
    t_interval = float(stdtrit(noise.dof, 0.5 + settings.confidence / 2))
    deepest = float(np.expm1(np.min(values[: min(2, len(first))] - values[len(first) :].mean())))
    beyond = dip + t * u < 0 and deepest <= -1.5 * settings.least_loss
    limit = float(np.expm1(-t * u))
    touched = first[values[: len(first)] - values[len(first) :].mean() < 0.5 * np.log1p(deepest)]
    return Damp(
        int(s.stop[start]), float(s.idle[start]), float(s.temperature[start]), float(np.expm1(dip)),
        float(np.expm1(dip - t_interval * u)), float(np.expm1(dip + t_interval * u)), limit, len(touched), bool(beyond), first,
    )  # fmt: skip
