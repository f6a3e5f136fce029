"""Low friction in the first stops after a long idle time, gone after a few: the mark of moisture.

Each pause's first stops are compared with later stops of their block, and with matched stops from which no use parts
them. A start so hot that no moisture is left must show a larger dip before it is called one. The weight falls from
stop to stop, since what the first stops dry, the next ones no longer carry.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from pipeline.constants import ZERO_C
from pipeline.drift.detection import MOISTURE
from pipeline.drift.monitoring import departures
from pipeline.drift.noise import Repeatability, covariance
from pipeline.drift.series import Series
from pipeline.method.drift import Drift
from pipeline.results.drift import AfterPause


def after_pauses(s: Series, noise: Repeatability, settings: Drift) -> list[AfterPause]:
    """The dip after each pause that can be compared with matched stops; the largest dips are `beyond` chance."""
    starts = [np.flatnonzero(s.pause == p)[0] for p in np.unique(s.pause[s.pause >= 0])]
    found = []
    for start in starts:
        compared = _compare(s, int(start), noise, settings, max(1, len(starts)))
        if compared is not None:
            found.append(compared)
    return found


def _neighbours(
    s: Series, start: int, first: NDArray[np.int64], known: NDArray[np.bool_], settings: Drift
) -> NDArray[np.int64]:
    """Matched stops of other blocks between which and the pause no use lies that could have changed the level."""
    others = np.flatnonzero(known & (s.group == s.group[first[0]]) & ~s.damp & (s.block != s.block[start]))
    used = np.cumsum(s.low + s.high)
    apart = np.abs(used[others] - used[start])
    return others[apart < settings.least_clearing][:12]


def _compare(s: Series, start: int, noise: Repeatability, settings: Drift, pauses: int) -> AfterPause | None:
    known = np.isfinite(s.ln_mu) & (s.group >= 0)
    own = np.arange(start, len(s))
    own = own[known[own] & (s.block[own] == s.block[start])]
    if len(own) == 0 or own[0] >= start + settings.pause_stops:
        return None
    own = own[s.group[own] == s.group[own[0]]]
    few = settings.pause_stops if len(own) > 2 * settings.pause_stops else max(1, min(3, len(own) // 2))
    first = own[own < start + few]
    if len(first) == 0:
        return None
    later = np.r_[own[~np.isin(own, first)][:12], _neighbours(s, start, first, known, settings)]
    if len(later) < 3:
        return None
    index = np.r_[first, later]
    effect, columns = departures(s, index, known & ~np.isin(np.arange(len(s)), first))
    values = s.ln_mu[index] - effect
    order = np.argsort(s.stop[index])
    matrix = covariance(
        s.stop[index][order],
        s.block[index][order],
        np.full(len(index), noise.sigma),
        noise.rho,
        noise.block_sigma,
        [c[order] for c in columns],
    )
    position = np.argsort(order)
    matrix = matrix[np.ix_(position, position)]
    weight = np.zeros(len(index))
    falling = 0.6 ** np.arange(len(first))
    weight[: len(first)] = falling / falling.sum()
    weight[len(first) :] = -1 / len(later)
    dip, u = float(weight @ values), float(np.sqrt(weight @ matrix @ weight))
    t = -float(stdtrit(noise.dof, MOISTURE * settings.false_alarm_rate / pauses))
    t_interval = float(stdtrit(noise.dof, 0.5 + settings.confidence / 2))
    deepest = float(np.expm1(np.min(values[: min(2, len(first))] - values[len(first) :].mean())))
    least = 1.5 if s.temperature[start] <= settings.dry_above - ZERO_C else 2.5
    beyond = dip + t * u < 0 and deepest <= -least * settings.least_loss
    touched = first[values[: len(first)] - values[len(first) :].mean() < 0.5 * np.log1p(deepest)]
    return AfterPause(
        stop=s.stop[start],
        idle_s=s.idle[start],
        temperature_c=s.temperature[start],
        dip=np.expm1(dip),
        low=np.expm1(dip - t_interval * u),
        high=np.expm1(dip + t_interval * u),
        limit=np.expm1(-t * u),
        stops=len(touched),
        beyond=beyond,
        touchable=s.stop[first],
    )
