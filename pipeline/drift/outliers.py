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
    f = fdtri(size - 1, (groups - 1) * (size - 1), 1 - significance / groups)
    return float(1 / (1 + (groups - 1) / f))


def cochran(variances: ArrayLike, size: int, significance: float = 0.05) -> Outlier:
    """Cochran's C: the largest of several variances over their sum."""
    v = np.asarray(variances, float)
    total = v.sum()
    where = int(np.argmax(v))
    critical = cochran_critical(len(v), size, significance)
    return Outlier(float(v[where] / total) if total > 0 else 0.0, critical, where)
