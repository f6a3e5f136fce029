"""Mass lost over what the thickness tells, over several tests: the mean and its interval.

Each test has a ratio with an interval from its readings. Their logarithms are means of what every specimen does, with a scatter
tau^2 between specimens beside the readings' own u_i^2 (moments: tau^2 = max(0, s^2 - mean u^2)), which are their widths over the
normal's reach at the confidence that they were made with:

    mean +- q sqrt((mean u^2 + tau^2) / n)

q is the normal's where the readings alone explain the scatter, Student's t of n - 1 where they do not. The widest ends of all tests, taken
together, would be no interval of anything: they grow with every test that is added.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import special

from pipeline.constants import normal_reach
from pipeline.results.model import Interval


def mean_ratio(ratios: Sequence[Interval], confidence: float) -> Interval | None:
    """The mean over tests; None where none has a ratio with an interval. confidence: of the tests' intervals and of the mean's."""
    known = [r for r in ratios if r.value and r.low and r.high and min(r.value, r.low, r.high) > 0]
    if not known:
        return None
    if len(known) == 1:
        return known[0]
    logs = np.log([r.value for r in known if r.value])
    own = np.array([np.log(r.high / r.low) / (2 * normal_reach(confidence)) for r in known if r.high and r.low]) ** 2
    between = max(0.0, float(logs.var(ddof=1) - own.mean()))
    q = (1 + confidence) / 2
    reach = float(special.stdtrit(len(logs) - 1, q) if between else special.ndtri(q))
    half = reach * float(np.sqrt((own.mean() + between) / len(logs)))
    middle = float(logs.mean())
    return Interval(value=float(np.exp(middle)), low=float(np.exp(middle - half)), high=float(np.exp(middle + half)))
