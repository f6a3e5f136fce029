"""Levels before a change, at its worst, and after recovery, compared with an interval.

Each matched block after the onset has a level of its own; the levels are estimated together by generalised least
squares, so that unequal blocks, correlated neighbours and several groups of checks count as they should.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from pipeline.constants import Array
from pipeline.drift.noise import generalised


class Difference(NamedTuple):
    """A difference of ln levels (value, interval) and its standard uncertainty."""

    value: float
    low: float
    high: float
    u: float

    def share(self) -> tuple[float, float, float]:
        """The same as a share of the level before: exp(d) - 1."""
        return float(np.expm1(self.value)), float(np.expm1(self.low)), float(np.expm1(self.high))


class Levels(NamedTuple):
    """Levels of named phases against the phase `before`, with covariance; dof behind the scatter."""

    names: list[str]
    value: Array
    covariance: Array
    dof: float

    def difference(self, a: str, b: str, confidence: float = 0.95) -> Difference | None:
        """Level a less level b, or None where a phase has no stops."""
        weight = np.zeros(len(self.names))
        for name, sign in ((a, 1.0), (b, -1.0)):
            if name == "before":
                continue
            if name not in self.names:
                return None
            weight[self.names.index(name)] += sign
        value = float(weight @ self.value)
        u = float(np.sqrt(max(float(weight @ self.covariance @ weight), 0.0)))
        t = float(stdtrit(max(self.dof, 1.0), 0.5 + confidence / 2))
        return Difference(value, value - t * u, value + t * u, u)


def levels(
    values: Array,
    group: NDArray[np.int64],
    phase: NDArray[np.str_],
    matrix: Array,
    dof: float,
) -> Levels | None:
    """Levels of the phases other than `before`, each group having its own level before.

    values, group, phase (n,), matrix the covariance (n, n). None where no stop is `before`; a phase met only in groups
    without stops before is left out.
    """
    known = np.isfinite(values)
    with_before = np.unique(group[known & (phase == "before")])
    known &= np.isin(group, with_before)
    if not known.any():
        return None
    groups = np.unique(group[known])
    names = [name for name in dict.fromkeys(phase[known].tolist()) if name != "before"]
    design = np.column_stack([group[known] == g for g in groups] + [phase[known] == name for name in names]).astype(
        float
    )
    beta, cover = generalised(design, values[known], matrix[np.ix_(known, known)])
    own = slice(len(groups), None)
    return Levels(names, beta[own], cover[own, own], dof)
