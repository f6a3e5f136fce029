"""Which stops carry the test for drift, which of them set the level, and how far their conditions depart.

The matched checks carry it. Where a program has none, or where low-energy use is followed by high-energy use with no
check between, the stops of use themselves are watched, each group about its own level. The level is set by the stops
before the first duty or fade block.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.constants import Array
from pipeline.drift.matching import finite_median
from pipeline.drift.noise import Repeatability, in_pieces, pooled_scatter
from pipeline.drift.outliers import grubbs
from pipeline.drift.series import Series
from pipeline.method.drift import Drift

LEAST_GROUP = 6  # matched stops below which a group says nothing


class Watch(NamedTuple):
    """Indices into the series: those `deciding`, and `use` (low-energy stops of use) that helps to date; their
    baseline and spread.
    """

    deciding: NDArray[np.int64]
    use: NDArray[np.int64]
    baseline: NDArray[np.bool_]
    noise: Repeatability
    stray: NDArray[np.int64]
    kind: str  # "checks" | "use": what decides


def watch(s: Series, noise: Repeatability, settings: Drift) -> Watch:
    """Choose the stops to watch. `deciding` is empty where nothing is repeated at matched conditions."""
    good = np.isfinite(s.ln_mu) & (s.group >= 0) & ~s.damp
    stray = stray_stops(s, good, noise)
    good[stray] = False
    before = np.cumsum(np.isin(s.purpose, ("duty", "fade"))) == 0
    decides = good & (s.purpose == "check") & _repeated(s, good & (s.purpose == "check"))
    kind = "checks"
    use = good & (s.purpose != "check") & (s.high == 0)
    use &= _large(s, use, LEAST_GROUP + 2)
    if decides.sum() < LEAST_GROUP:
        decides, kind = use & _large(s, use, 2 * LEAST_GROUP), "use"
    elif (open_use := _uncovered(s, use, decides, settings)).any():
        decides = decides | open_use
    noise = _with_own_scatter(s, decides, noise)
    baseline = _baseline(s, decides, before)
    deciding = _at_most(np.flatnonzero(decides))
    return Watch(
        deciding,
        _at_most(np.flatnonzero(use & ~decides & (s.purpose == "duty"))),
        baseline[deciding],
        noise,
        stray,
        kind,
    )


def _at_most(index: NDArray[np.int64], most: int = 700) -> NDArray[np.int64]:
    """Every stop of a usual test, every second, third ... of one with thousands: time grows with the cube."""
    return index[:: max(1, -(-len(index) // most))]


def _repeated(s: Series, among: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Stops of groups that come back in more than one block, or that are long in themselves."""
    out = np.zeros(len(s), bool)
    for g in np.unique(s.group[among]):
        own = among & (s.group == g)
        if len(np.unique(s.block[own])) > 1 or own.sum() >= 4 * LEAST_GROUP:
            out |= own
    return out


def _large(s: Series, among: NDArray[np.bool_], least: int) -> NDArray[np.bool_]:
    count = np.bincount(s.group[among] + 1, minlength=s.group.max(initial=0) + 2)
    return count[s.group + 1] >= least


def _uncovered(s: Series, use: NDArray[np.bool_], checks: NDArray[np.bool_], settings: Drift) -> NDArray[np.bool_]:
    """Low-energy use that no check follows before high-energy use or the end: it must speak for itself."""
    out = np.zeros(len(s), bool)
    waiting: list[int] = []
    hard = 0
    for i in range(len(s)):
        if s.low[i] and use[i]:
            waiting.append(i)
        hard = hard + 1 if s.high[i] else 0
        if checks[i]:
            waiting = []
        elif hard >= settings.least_clearing and len(waiting) >= 2 * LEAST_GROUP:
            out[waiting], waiting = True, []
    if len(waiting) >= 2 * LEAST_GROUP:
        out[waiting] = True
    groups = np.unique(s.group[out])
    return use & (s.low > 0) & np.isin(s.group, groups)


def _baseline(s: Series, decides: NDArray[np.bool_], before: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Stops that set a group's level: those before the first duty or fade block, else the group's first third."""
    out = np.zeros(len(s), bool)
    for g in np.unique(s.group[decides]):
        own = np.flatnonzero(decides & (s.group == g))
        early = own[before[own]]
        third = own[: max(LEAST_GROUP - 1, len(own) // 3)]
        out[early if len(early) >= LEAST_GROUP - 2 and len(early) < len(own) else third] = True
    return out


def _with_own_scatter(s: Series, decides: NDArray[np.bool_], noise: Repeatability) -> Repeatability:
    """The pooled scatter, or the test's own where that is larger beyond chance (1 % of an F test)."""
    runs = [s.ln_mu[decides & (s.block == b)] for b in np.unique(s.block[decides])]
    own = pooled_scatter(in_pieces(runs), prior=(noise.rho, max(noise.u_rho, 0.05)))
    if own is None:
        return noise
    from scipy.special import fdtri

    ratio = (own.sigma / noise.sigma) ** 2
    if ratio > fdtri(own.dof, noise.dof, 0.99):
        return noise._replace(sigma=own.sigma, dof=float(own.dof))
    return noise


def stray_stops(s: Series, good: NDArray[np.bool_], noise: Repeatability) -> NDArray[np.int64]:
    """Single stops far off their block's others, to be left out and named: beyond six pooled standard deviations, or
    beyond Grubbs' limit at 0.01 % in blocks long enough for it.

    Only one a block: two stray neighbours are no accident of one stop.
    """
    stray = []
    for b in np.unique(s.block[good]):
        own = np.flatnonzero(good & (s.block == b))
        if len(own) < 4:
            continue
        values = s.ln_mu[own]
        if len(own) > 12:
            values = values - np.polyval(np.polyfit(np.arange(len(own)), values, 1), np.arange(len(own)))
        far = np.abs(values - np.median(values))
        worst = int(np.argmax(far))
        grubbs_says = len(own) >= 8 and grubbs(values, 1e-4, sides=2).beyond
        others = np.delete(far, worst).max()
        if (
            far[worst] > 0.06
            and others < 0.5 * far[worst]
            and (grubbs_says or far[worst] > 6 * noise.sigma * noise.exposed)
        ):
            stray.append(own[worst])
    return np.array(stray, np.int64)


class Slopes(NamedTuple):
    """ln mu per 100 K, per ln pressure, per ln speed near a group's conditions, and their standard uncertainties."""

    value: Array
    u: Array


_PRIOR = np.array([0.10, 0.15, 0.15])


def local_slopes(s: Series, temperature: float, among: NDArray[np.bool_]) -> Slopes:
    """Slopes of ln mu about a temperature from the stops `among`, weighted by nearness (80 K), shrunk towards 0.

    The prior's standard deviations are 0.10 per 100 K and 0.15 per unit of ln pressure and ln speed: what carbon shows
    on its plateau; on its cold flank temperature counts five times as much.
    """
    prior = _PRIOR * np.array([5.0 if temperature < 220 else 1.0, 1.0, 1.0])
    own = among & np.isfinite(s.temperature) & np.isfinite(s.pressure) & np.isfinite(s.speed) & np.isfinite(s.ln_mu)
    if own.sum() < 5 or not np.isfinite(temperature):
        return Slopes(np.zeros(3), prior)
    weight = np.exp(-0.5 * ((s.temperature[own] - temperature) / 80) ** 2)
    x = np.column_stack(
        [
            np.ones(own.sum()),
            (s.temperature[own] - temperature) / 100,
            np.log(s.pressure[own]) - np.log(s.pressure[own]).mean(),
            np.log(s.speed[own]) - np.log(s.speed[own]).mean(),
        ]
    )
    precision = np.diag(np.r_[0.0, 0.03**2 / prior**2])
    normal = (x * weight[:, None]).T @ x + precision
    beta = np.linalg.solve(normal, (x * weight[:, None]).T @ s.ln_mu[own])
    u = 0.03 * np.sqrt(np.diag(np.linalg.inv(normal)))
    return Slopes(beta[1:], np.minimum(u[1:] * 1.5, prior))


def departures(s: Series, index: NDArray[np.int64], before: NDArray[np.bool_]) -> tuple[Array, list[Array]]:
    """What the stops' departures from their group's mean conditions make of ln mu, and the uncertainty's columns.

    A torque- or deceleration-controlled stop's pressure follows friction, so it is no condition and is left out.
    """
    effect = np.zeros(len(index))
    columns: list[Array] = []
    for g in np.unique(s.group[index]):
        own = s.group[index] == g
        i = index[own]
        slopes = local_slopes(s, finite_median(s.temperature[i]), before)
        held = np.isin(s.control[i], ("pressure", ""))
        moved = (
            (s.temperature[i] - _mean(s.temperature[i])) / 100,
            np.where(held, np.log(s.pressure[i]) - _mean(np.log(s.pressure[i])), 0.0),
            np.log(s.speed[i]) - _mean(np.log(s.speed[i])),
        )
        for departure, value, u in zip(moved, slopes.value, slopes.u, strict=True):
            departure = np.nan_to_num(departure)
            effect[own] += value * departure
            if np.abs(departure * u).max(initial=0.0) > 1e-4:
                column = np.zeros(len(index))
                column[own] = departure * u
                columns.append(column)
    return effect, columns


def _mean(values: Array) -> float:
    return float(np.nanmean(values)) if np.isfinite(values).any() else np.nan
