"""Is one test unlike the others? The consistency statistics of ASTM E691, and Cochran's C of ISO 5725-2.

h compares a test's level with those of its batch, k the scatter of its stops with that of all tests:

    h = departure / (its standard deviation over all tests)        k = s / s_pooled

In E691 every laboratory has as many results of every material. Here batches have unlike numbers of tests, and tests of
stops, so both are taken with their degrees of freedom: h is the standardized residual about the batches' means, whose
square over nu has a beta distribution (1/2, (nu - 1)/2), and k^2 nu_t / nu one of (nu_t/2, (nu - nu_t)/2). With equal
numbers the critical values are E691's own, at its level of 0.5 %. Cochran's C for unequal degrees of freedom follows
R. U. E. 't Lam (Anal. Chim. Acta 659, 2010, p. 68): a variance's share of all, each by its own degrees of freedom. (E691
and 't Lam from memory.)

Neighbouring stops are alike, so that the scatter of a block knows less than its number says: degrees of freedom
are divided by (1 + rho^2) / (1 - rho^2).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from pipeline.constants import Array
from pipeline.drift.outliers import cochran, share_critical
from pipeline.results.precision import Cochran

LEVEL = 0.005  # of h and k, as ASTM E691 has it
STRAGGLER, OUTLIER = 0.05, 0.01  # ISO 5725-2


class Statistic(NamedTuple):
    """A consistency statistic and its critical value; NaN where a test cannot be held against others."""

    value: Array
    critical: Array


def h_statistics(values: Array, batch: Sequence[str]) -> Statistic:
    """h of each value (n,) about the mean of its batch."""
    from scipy import stats

    labels = np.array(batch)
    names, place, counts = np.unique(labels, return_inverse=True, return_counts=True)
    departure = values - (np.bincount(place, values) / counts)[place]
    df = len(values) - len(names)
    nothing = np.full(len(values), np.nan)
    if df < 2:
        return Statistic(nothing, nothing)
    spread = float(np.sqrt((departure**2).sum() / df))
    own = counts[place]
    free = np.where(own > 1, 1 - 1 / own, np.nan)
    t = float(stats.t.ppf(1 - LEVEL / 2, df - 1))
    # E691 divides by the standard deviation of the values themselves and not by that of a departure
    critical = t * np.sqrt(df / (df - 1 + t * t)) * np.sqrt(free)
    value = departure / spread if spread > 0 else np.zeros(len(values))
    return Statistic(np.where(own > 1, value, np.nan), critical)


def h_critical(laboratories: int) -> float:
    """E691's own critical value of h, for so many laboratories with as many results each."""
    return float(h_statistics(np.arange(laboratories, dtype=float), ["one"] * laboratories).critical[0])


def k_statistics(variances: Array, df: Array) -> Statistic:
    """k of each test from the variance of its stops (n,) and its degrees of freedom (n,); NaN where it has none."""
    from scipy import stats

    usable = df > 0
    total = float(df[usable].sum())
    others = np.where(usable, total - df, np.nan)
    if usable.sum() < 2 or total <= 0:
        nothing = np.full(len(df), np.nan)
        return Statistic(nothing, nothing)
    pooled = float((variances[usable] * df[usable]).sum() / total)
    own = np.where(usable, df, np.nan)
    f = stats.f.ppf(1 - LEVEL, own, others)
    critical = np.sqrt(total / own / (1 + others / (own * f)))
    value = np.sqrt(np.where(usable, variances, np.nan) / pooled) if pooled > 0 else np.where(usable, 1.0, np.nan)
    return Statistic(value, critical)


def k_critical(laboratories: int, results: int) -> float:
    """E691's own critical value of k, for so many laboratories with so many results each."""
    return float(k_statistics(np.ones(laboratories), np.full(laboratories, results - 1.0)).critical[0])


def cochran_of(names: Sequence[str], variances: Array, df: Array) -> Cochran | None:
    """Cochran's test of the largest variance among the tests; None with fewer than two."""
    usable = df > 0
    if usable.sum() < 2 or float((variances * df)[usable].sum()) <= 0:
        return None
    straggler = cochran(variances[usable], df=df[usable], significance=STRAGGLER)
    own = df[usable]
    rare = share_critical(float(own[straggler.where]), float(own.sum() - own[straggler.where]), len(own), OUTLIER)
    beyond = "outlier" if straggler.statistic > rare else "straggler" if straggler.beyond else "none"
    return Cochran(
        test=str(np.array(names)[usable][straggler.where]),
        c=straggler.statistic,
        critical_5=straggler.critical,
        critical_1=rare,
        verdict=beyond,
    )
