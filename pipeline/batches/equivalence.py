"""Equivalent, different, undecided: three answers to "are these batches alike?".

equivalent  the two one-sided tests at 5 % pass: the 90 % interval of the difference lies inside the margin
            (Schuirmann 1987; margin fixed before the data are seen, as in ASTM E2935)
different   the 95 % interval excludes zero, after Holm over all pairs, and the estimate is beyond the margin
undecided   neither

"Not significant" is not "equivalent", and "significant" within the margin does not matter: so two different
tests.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.results.batches import Verdict


@dataclass(frozen=True)
class Estimate:
    """A difference (or log ratio), its standard error and degrees of freedom (inf for known variance)."""

    value: float
    se: float
    df: float


def interval(estimate: Estimate, confidence: float = 0.95) -> tuple[float, float]:
    """Two-sided interval by Student's t."""
    from scipy import stats

    half = float(stats.t.ppf((1 + confidence) / 2, estimate.df)) * estimate.se
    return estimate.value - half, estimate.value + half


def p_difference(estimate: Estimate) -> float:
    """Two-sided p-value of "no difference"."""
    from scipy import stats

    if estimate.se == 0:
        return 1.0 if estimate.value == 0 else 0.0
    return float(2 * stats.t.sf(abs(estimate.value) / estimate.se, estimate.df))


def p_equivalence(estimate: Estimate, low: float, high: float) -> float:
    """Larger p-value of the two one-sided tests of "the difference lies outside (low, high)".

    From an estimate with its degrees of freedom: statsmodels' ttost_ind and ttost_paired take two samples, and cannot
    be told of weights, of blocks or of a scatter pooled over further batches. They agree where they apply.
    """
    from scipy import stats

    if estimate.se == 0:
        return 0.0 if low < estimate.value < high else 1.0
    below = float(stats.t.sf((estimate.value - low) / estimate.se, estimate.df))
    above = float(stats.t.sf((high - estimate.value) / estimate.se, estimate.df))
    return max(below, above)


def holm(p_values: Sequence[float | None]) -> list[float | None]:
    """Holm's step-down adjusted p-values (Holm 1979); None stays None and does not count as a test.

    Ours and not statsmodels' multipletests, which agrees: that collects garbage at each call, 30 to 80 ms of nothing.
    """
    known = sorted((p, place) for place, p in enumerate(p_values) if p is not None)
    adjusted: list[float | None] = [None] * len(p_values)
    reached = 0.0
    for step, (p, place) in enumerate(known):
        reached = max(reached, min(1.0, (len(known) - step) * p))
        adjusted[place] = reached
    return adjusted


def verdict(estimate: Estimate, low: float, high: float, p_holm: float, alpha: float = 0.05) -> Verdict:
    """One of the three answers; (low, high) is the margin, p_holm the adjusted p-value of "no difference"."""
    if p_equivalence(estimate, low, high) < alpha:
        return "equivalent"
    if p_holm < alpha and not low <= estimate.value <= high:
        return "different"
    return "undecided"


def with_known(estimate: Estimate, known_u: float) -> Estimate:
    """Add a known standard uncertainty in quadrature; degrees of freedom by Welch and Satterthwaite (JCGM
    100, G.4).

    With few degrees of freedom their rise can narrow the interval although something was added to it: then nothing is
    taken as added, neither to the 95 % interval nor to the 90 % one of the equivalence test.
    """
    if known_u == 0 or not math.isfinite(estimate.se):
        return estimate
    total = estimate.se**2 + known_u**2
    df = math.inf if estimate.se == 0 else total**2 / (estimate.se**4 / estimate.df)
    added = Estimate(estimate.value, float(np.sqrt(total)), df)
    narrower = any(_half(added, share) < _half(estimate, share) for share in (0.90, 0.95))
    return estimate if narrower else added


def _half(estimate: Estimate, confidence: float) -> float:
    low, high = interval(estimate, confidence)
    return (high - low) / 2
