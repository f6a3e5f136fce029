"""Power of the three answers and how many specimens would decide.

For specimen scatter sigma and n_a, n_b specimens the difference D is normal about the true difference with
standard error se = sigma sqrt(1/n_a + 1/n_b), and s, the estimate of sigma on df degrees of freedom, is
independent of it:

    P(equivalent) = E_s[ P(low + t90 s' < D < high - t90 s') ]     s' = s se / sigma, zero where the bounds
    cross P(different)  = E_s[ P(|D| > max(margin, t95 s')) ]            for a margin symmetric about zero

The expectation over s is a Gauss-Legendre sum over the probability scale of chi-squared: exact to five
digits, no simulation.

Two things that a comparison does beside this enter where they are given: it takes no scatter below what the specimens'
own values are known to (`floor`), and it adds what the rig's states are known to add (`known`, of which the difference
itself scatters too) with the degrees of freedom that this leaves.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from scipy import special

NODES = 240
LARGEST = 60  # specimens per batch beyond which the answer is "more than that"


@lru_cache(maxsize=256)
def _scale_nodes(df: float) -> tuple[np.ndarray, np.ndarray]:
    """Nodes of s / sigma and their weights."""
    x, w = np.polynomial.legendre.leggauss(NODES)
    probability = (x + 1) / 2
    if math.isinf(df):
        return np.ones(1), np.ones(1)
    return np.sqrt(2 * special.gammaincinv(df / 2, probability) / df), w / 2


def _reach(se: float, df: float, tail: float, floor: float, known: float) -> tuple[np.ndarray, np.ndarray, float]:
    """(half width of the interval by the estimated scatter, weight of each, the difference's true scatter)."""
    ratio, weight = _scale_nodes(df)
    estimated = se * np.maximum(ratio, floor)
    total = np.hypot(estimated, known)
    freedom = df if known == 0 else df * (total / estimated) ** 4
    return np.asarray(_quantile(1 - tail, freedom) * total), weight, math.hypot(se, known)


def _quantile(share: float, df: np.ndarray | float) -> np.ndarray:
    """Student's t; the normal's for df without limit."""
    return np.asarray(np.where(np.isinf(df), special.ndtri(share), special.stdtrit(np.minimum(df, 1e12), share)))


def power_equivalent(
    difference: float,
    se: float,
    df: float,
    low: float,
    high: float,
    alpha: float = 0.05,
    *,
    floor: float = 0.0,
    known: float = 0.0,
) -> float:
    """Probability of the answer `equivalent` for a true difference, true standard error se and df for its
    estimate.

    floor: the least that an estimated scatter is taken for, as a share of the true one; known: a standard uncertainty
    of the difference that comes on top, in its unit.
    """
    reach, weight, sd = _reach(se, df, alpha, floor, known)
    inside = special.ndtr((high - reach - difference) / sd) - special.ndtr((low + reach - difference) / sd)
    return float(weight @ np.where(low + reach < high - reach, inside, 0.0))


def power_different(
    difference: float,
    se: float,
    df: float,
    low: float,
    high: float,
    alpha: float = 0.05,
    *,
    floor: float = 0.0,
    known: float = 0.0,
) -> float:
    """Probability of the answer `different`: beyond the margin and significantly not zero (low = high = 0:
    the t test). floor and known as of `power_equivalent`.
    """
    reach, weight, sd = _reach(se, df, alpha / 2, floor, known)
    above = special.ndtr((difference - np.maximum(high, reach)) / sd)
    below = special.ndtr((np.minimum(low, -reach) - difference) / sd)
    return float(weight @ (above + below))


def specimens_to_decide(
    difference: float,
    sigma: float,
    low: float,
    high: float,
    *,
    other_df: float = 0,
    wanted: float = 0.8,
    alpha: float = 0.05,
) -> int | None:
    """Smallest number of specimens in each of two batches that gives the right answer with probability
    `wanted`.

    The right answer is `equivalent` for a true difference inside (low, high), `different` outside.
    `other_df` are the degrees of freedom that further batches lend to the pooled scatter. None: more than
    LARGEST.
    """
    power = power_equivalent if low < difference < high else power_different
    if not sigma > 0:
        return 2

    def reached(n: int) -> bool:
        return power(difference, sigma * math.sqrt(2 / n), 2 * (n - 1) + other_df, low, high, alpha) >= wanted

    if not reached(LARGEST):
        return None
    few, enough = 1, LARGEST
    while enough - few > 1:
        middle = (few + enough) // 2
        few, enough = (few, middle) if reached(middle) else (middle, enough)
    return max(enough, 2)
