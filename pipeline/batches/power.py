"""Power of the three answers and how many specimens would decide.

For specimen scatter sigma and n_a, n_b specimens the difference D is normal about the true difference with
standard error se = sigma sqrt(1/n_a + 1/n_b), and s, the estimate of sigma on df degrees of freedom, is
independent of it:

    P(equivalent) = E_s[ P(low + t90 s' < D < high - t90 s') ]     s' = s se / sigma, zero where the bounds
    cross P(different)  = E_s[ P(|D| > max(margin, t95 s')) ]            for a margin symmetric about zero

The expectation over s is a Gauss-Legendre sum over the probability scale of chi-squared: exact to five
digits, no simulation.
"""

from __future__ import annotations

import math

import numpy as np

NODES = 240
LARGEST = 60  # specimens per batch beyond which the answer is "more than that"


def _scale_nodes(df: float) -> tuple[np.ndarray, np.ndarray]:
    """Nodes of s / sigma and their weights."""
    from scipy import stats

    x, w = np.polynomial.legendre.leggauss(NODES)
    probability = (x + 1) / 2
    if math.isinf(df):
        return np.ones(1), np.ones(1)
    return np.sqrt(stats.chi2.ppf(probability, df) / df), w / 2


def power_equivalent(difference: float, se: float, df: float, low: float, high: float, alpha: float = 0.05) -> float:
    """Probability of the answer `equivalent` for a true difference, true standard error se and df for its
    estimate.
    """
    from scipy import stats

    ratio, weight = _scale_nodes(df)
    reach = stats.t.ppf(1 - alpha, df) * se * ratio
    inside = stats.norm.cdf((high - reach - difference) / se) - stats.norm.cdf((low + reach - difference) / se)
    return float(weight @ np.where(low + reach < high - reach, inside, 0.0))


def power_different(difference: float, se: float, df: float, low: float, high: float, alpha: float = 0.05) -> float:
    """Probability of the answer `different`: beyond the margin and significantly not zero (low = high = 0:
    the t test).
    """
    from scipy import stats

    ratio, weight = _scale_nodes(df)
    reach = stats.t.ppf(1 - alpha / 2, df) * se * ratio
    above = stats.norm.sf((np.maximum(high, reach) - difference) / se)
    below = stats.norm.cdf((np.minimum(low, -reach) - difference) / se)
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
