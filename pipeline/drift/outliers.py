"""Tests for a single outlying value or variance.

Grubbs' test (ASTM E178; NIST/SEMATECH e-Handbook 1.3.5.17.1) for one value, Cochran's C (ISO 5725-2) for one
variance among several. The drift stage uses Grubbs' on the scaled residuals: a single stray stop must not
pass for a change of the material. (statsmodels has the two-sided Grubbs' test under another name: the outlier test of a
regression on a constant, by Bonferroni. The same answer, but drift would load the library for it at every test.)
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtri, stdtrit


class Outlier(NamedTuple):
    """The statistic, its critical value and the index of the most outlying value."""

    statistic: float
    critical: float
    where: int

    @property
    def beyond(self) -> bool:
        return self.statistic > self.critical


def grubbs_critical(count: int, significance: float, *, sides: int = 1) -> float:
    """Critical value of the largest standardised deviation of `count` normal values."""
    if count < 3:
        raise ValueError("Grubbs' test needs at least three values")
    t = -stdtrit(count - 2, significance / (count * sides))
    return float((count - 1) / np.sqrt(count) * np.sqrt(t * t / (count - 2 + t * t)))


def grubbs(values: ArrayLike, significance: float = 0.05, *, sides: int = 1) -> Outlier:
    """Grubbs' test of the largest value (`sides=1`) or of the largest deviation either way (`sides=2`)."""
    x = np.asarray(values, float)
    critical = grubbs_critical(len(x), significance, sides=sides)
    deviation = x - x.mean()
    if sides == 2:
        deviation = np.abs(deviation)
    spread = x.std(ddof=1)
    where = int(np.argmax(deviation))
    return Outlier(float(deviation[where] / spread) if spread > 0 else 0.0, critical, where)


def cochran_critical(groups: int, size: int, significance: float) -> float:
    """Critical value of Cochran's C for `groups` variances of `size` values each."""
    if groups < 2 or size < 2:
        raise ValueError("Cochran's test needs two groups of two values at least")
    return share_critical(size - 1, (groups - 1) * (size - 1), groups, significance)


def share_critical(own: float, others: float, groups: int, significance: float) -> float:
    """Critical value of a variance's share of all: its degrees of freedom, those of the others, number of variances."""
    f = fdtri(own, others, 1 - significance / groups)
    return float(1 / (1 + others / own / f))


def cochran(
    variances: ArrayLike, size: int | None = None, significance: float = 0.05, *, df: ArrayLike | None = None
) -> Outlier:
    """Cochran's C: the largest of several variances over their sum, each of `size` values.

    With `df`, degrees of freedom of each, the variance furthest beyond its own critical share of the sum of squares
    ('t Lam, Anal. Chim. Acta 659, 2010, p. 68; from memory); with equal ones the same C.
    """
    v = np.asarray(variances, float)
    free = np.full(len(v), size - 1.0) if size is not None else np.asarray(df, float)
    squares = v * free
    total = float(squares.sum())
    share = squares / total if total > 0 else np.zeros(len(v))
    critical = np.array([share_critical(own, free.sum() - own, len(v), significance) for own in free])
    where = int(np.argmax(share / critical))
    return Outlier(float(share[where]), float(critical[where]), where)
