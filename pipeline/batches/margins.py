"""Margins within which two batches count as equivalent: mu's and wear's are the target's, bite's is its own.

A cold bite is a third of the mu at the reference conditions. A margin that is small beside the one is large beside the
other: 0.03 is 7 % of a mu of 0.45 and 19 % of a bite of 0.154, and a loss of a tenth of the first braking would pass as
"equivalent". So bite has a margin of its own, absolute or as a share of its level. Where the target gives none, the share is
the one that the target accepts of mu,

    margin of bite = (margin of mu / wanted mu) x bite,      wanted mu the middle of the target's band of mu,

bite the mean over the specimens compared. Without a band of mu the level of mu is the specimens' own.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from pipeline.archive.targets import Target
from pipeline.constants import Array
from pipeline.results.batches import Margin, Quantity

Ends = tuple[float, float]


def of_target(target: Target | None, mu: Array, bite: Array) -> Mapping[Quantity, Margin | None]:
    """Margins of the three quantities; `mu`, `bite`: the specimens' values. None where the target gives no margin."""
    if target is None:
        return {"mu": None, "bite": None, "wear": None}
    margin, ratio = target.mu_batch_margin, target.wear_batch_ratio
    return {
        "mu": Margin(low=-margin, high=margin, source="mu_batch_margin of the target") if margin else None,
        "bite": _of_bite(target, mu, bite),
        "wear": Margin(low=ratio[0], high=ratio[1], source="wear_batch_ratio of the target") if ratio else None,
    }


def _of_bite(target: Target, mu: Array, bite: Array) -> Margin | None:
    level = _mean(bite)
    if level is None:
        return None
    if target.bite_margin is not None:
        size = target.bite_margin.at(level)
        share = target.bite_margin.value if target.bite_margin.relative else None
        return _about(size, share, level if share else None, "bite_margin of the target")
    if target.mu_batch_margin is None:
        return None
    of, where = (
        (_mean(np.array(target.mu)), "the middle of its band of mu") if target.mu else (_mean(mu), "the specimens' mu")
    )
    if of is None:
        return None
    share = target.mu_batch_margin / of
    return _about(
        share * level, share, level, f"no bite_margin is stated: mu_batch_margin over {where}, as a share of bite"
    )


def _about(size: float, share: float | None, level: float | None, source: str) -> Margin:
    return Margin(low=-size, high=size, relative=share, level=level, source=source)


def _mean(values: Array) -> float | None:
    return float(np.mean(values)) if len(values) and float(np.mean(values)) > 0 else None


def ends(margin: Margin | None) -> Ends | None:
    """(low, high) of a margin."""
    return None if margin is None else (margin.low, margin.high)


def logged(pair: Ends | None) -> Ends | None:
    """The logarithms of a pair of ratios."""
    return None if pair is None else (math.log(pair[0]), math.log(pair[1]))
