"""Scatter of single stops, block by block, and the interval of a mean of few stops.

Procedures run two to six stops a block: their own standard deviation says next to nothing (of two stops it lies below a tenth
of the true one every twelfth time), and one for all blocks hides that carbon scatters more in the cold. So a block's variance
is drawn towards what is usual in the test, by as many degrees of freedom d0 as the blocks' variances agree for:

    s2 = (d0 s0^2 + d s^2) / (d0 + d)          Student's t on d0 + d

(Smyth 2004, Stat Appl Genet Mol Biol 3(1) 3, from memory; relative to each block's mean). d0 and s0 follow from mean and
variance of ln s^2 over the blocks. Where stops move along their block (bedding, fade, recovery, duty) the variance is that of second
differences, a sixth of their mean square, which a trend leaves alone (as successive differences do for a level: von Neumann
1941, Ann Math Stat 12, from memory). m of them, each sharing stops with its neighbours, are worth m / (1 + 2 (16 + 1) / 36) =
0.51 m degrees of freedom. Neighbouring stops alike, by the map's autocorrelation r, tell less:

    Var(mean) = s2/n (1 + 2 sum (1 - k/n) r^k)

The common part of the uncertainty of mu joins in quadrature, with effective degrees of freedom by Welch and Satterthwaite
(JCGM 100:2008, G.4.1).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy.special import digamma, polygamma, stdtrit

from pipeline.constants import Array
from pipeline.friction.model import LEAST_SCATTER
from pipeline.results.friction_blocks import MeanOfStops, StopScatter

FEWEST_BLOCKS = 3  # with repeats, before their variances are drawn together
FEWEST_BETWEEN = 3  # degrees of freedom between blocks at one set of conditions
FEWEST_DIFFERENCES = 6
WORTH = 0.51  # degrees of freedom of a second difference
FLOOR = 1e-3  # of the median variance: two stops alike to the last digit are no infinite evidence


class Variance(NamedTuple):
    """A relative variance of single stops and its degrees of freedom."""

    value: float
    dof: float


class Scatter(NamedTuple):
    """What is usual in a test: scatter of single stops, between blocks at one set of conditions, neighbours alike."""

    usual: Variance | None = None
    between: float | None = None  # relative standard deviation
    between_dof: float = 0.0
    alike: float = 0.0


def usual(groups: Sequence[Array]) -> Variance | None:
    """s0^2 and d0 of groups of mu at equal conditions each; None where fewer than three groups have repeats."""
    own = [v for v in map(about_mean, groups) if v is not None]
    if len(own) < FEWEST_BLOCKS:
        return None
    dof = np.array([v.dof for v in own])
    value = np.array([v.value for v in own])
    pooled = float((dof * value).sum() / dof.sum())
    if pooled <= 0:
        return Variance(0.0, float(dof.sum()))
    logs = np.log(np.maximum(value, FLOOR * float(np.median(value[value > 0])))) - digamma(dof / 2) + np.log(dof / 2)
    extra = float(np.var(logs, ddof=1) - np.mean(polygamma(1, dof / 2)))
    worth = min(2 * inverse_trigamma(extra), float(dof.sum())) if extra > 0 else float(dof.sum())
    if worth >= dof.sum():
        return Variance(pooled, float(dof.sum()))
    return Variance(float(np.exp(np.mean(logs) + digamma(worth / 2) - np.log(worth / 2))), worth)


def inverse_trigamma(y: float) -> float:
    """x > 0 with trigamma(x) = y, by Newton's steps on 1/trigamma, which is nearly straight."""
    x = 0.5 + 1 / y
    for _ in range(20):
        x += float(polygamma(1, x) * (1 - polygamma(1, x) / y) / polygamma(2, x))
    return x


def about_mean(mu: Array) -> Variance | None:
    """Relative variance of stops about their mean; None for fewer than two."""
    if mu.size < 2:
        return None
    return Variance(float(np.var(mu, ddof=1) / np.mean(mu) ** 2), mu.size - 1.0)


def about_course(mu: Array, usual_: Variance | None) -> Variance | None:
    """Relative variance of stops about whatever slow course they take; that of too few is drawn towards the usual one."""
    if mu.size < 3 or mu.min() <= 0:
        return usual_
    second = np.diff(np.log(mu), n=2)
    own = Variance(float(np.mean(second**2) / 6), WORTH * second.size)
    return own if second.size >= FEWEST_DIFFERENCES else drawn(own, usual_)


def between(cells: Sequence[Sequence[Array]]) -> Variance | None:
    """Variance between blocks run at equal conditions, relative, from cells that were run in two blocks at least, less what the
    scatter of their stops makes of it; its degrees of freedom. None for fewer than three."""
    excess, dof = 0.0, 0.0
    for groups in cells:
        if len(groups) < 2:
            continue
        level = float(np.mean(np.concatenate(groups)))
        means = np.array([g.mean() for g in groups]) / level
        within = [v for v in map(about_mean, groups) if v is not None]
        spare = sum(v.dof for v in within)
        single = sum(v.dof * v.value for v in within) / spare if spare else 0.0
        share = float(np.mean([1 / g.size for g in groups]))
        excess += (len(groups) - 1) * (float(np.var(means, ddof=1)) - single * share)
        dof += len(groups) - 1
    return Variance(max(excess / dof, 0.0), dof) if dof >= FEWEST_BETWEEN else None


def drawn(own: Variance | None, usual_: Variance | None) -> Variance | None:
    """A block's variance drawn towards the usual one; either alone where the other is missing."""
    if own is None or usual_ is None:
        return own or usual_
    total = own.dof + usual_.dof
    return Variance((own.dof * own.value + usual_.dof * usual_.value) / total, total)


def of_mean(n: int, alike: float) -> float:
    """Variance of a mean of n neighbouring stops over that which stops seem to have about their own mean."""
    if n < 2 or alike <= 0:
        return 1.0 / n
    k = np.arange(1, n)
    more = float(1 + 2 * ((1 - k / n) * alike**k).sum())
    return more / n / (1 - (more - 1) / (n - 1))


def interval(
    mean: float,
    single: Variance | None,
    shares: float,
    common: float | None,
    confidence: float,
    further: Sequence[Variance] = (),
) -> MeanOfStops:
    """The mean with its interval. `shares` is what of the variance of single stops the mean has (1/n where all are apart);
    `further` are variances that join with their degrees of freedom; `common` is the relative standard uncertainty common to all stops."""
    if single is None:
        why = "a single stop, and too few blocks with repeats to tell how far such stops scatter"
        return MeanOfStops(value=mean, why=why, u_common=None if common is None else common * mean)
    parts = [Variance(max(single.value, LEAST_SCATTER**2) * shares, single.dof), *further]
    u_stops = float(np.sqrt(sum(v.value for v in parts)))
    total = float(np.hypot(u_stops, common or 0.0))
    half = student(parts, total, confidence) * total * mean
    return MeanOfStops(
        value=mean, low=mean - half, high=mean + half, u_stops=u_stops * mean, u_common=None if common is None else common * mean
    )  # fmt: skip


def student(parts: Sequence[Variance], total: float, confidence: float) -> float:
    """Student's t at the effective degrees of freedom of a sum of variances (Welch and Satterthwaite)."""
    spread = sum(v.value**2 / v.dof for v in parts if v.dof > 0)
    dof = total**4 / spread if spread > 0 else 1e9
    return float(stdtrit(min(dof, 1e9), (1 + confidence) / 2))


def told(scatter: Scatter) -> StopScatter:
    """The scatter as friction.json has it."""
    few = f"fewer than {FEWEST_BLOCKS} map or check blocks have two stops at one set of conditions"
    once = "too few sets of conditions were run in more than one block"
    return StopScatter(
        sd=None if scatter.usual is None else scatter.usual.value**0.5,
        dof=None if scatter.usual is None else scatter.usual.dof,
        sd_why=few if scatter.usual is None else None,
        between_blocks_sd=scatter.between,
        between_blocks_why=once if scatter.between is None else None,
    )
