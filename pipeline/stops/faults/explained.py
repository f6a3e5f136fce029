"""What a deviation over the stops follows: a step in time, a drift, the temperature, or another channel.

y = a(group) + b x: every group of stops (one wanted level) keeps a mean of its own, so that a rig that holds one
level worse than another is no fault of a sensor; b is what is left along x. A step is tried at every place (Bai 1994,
least squares); after the groups' means are taken out its size is sum of y after it over the sum of the groups' n1 n0
/ n. The explanation told is the one that leaves least; the others are no better, not excluded.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.constants import MAD_TO_SD

LEAST_STOPS = 4  # stops on either side of a step
SIGMAS = 6.0  # the best of many places is tried
CLIP = 8.0  # robust sigmas: a lone stop decides nothing


@dataclass(frozen=True)
class Explanation:
    """`what` the deviation follows, its `size` over the data (log of a ratio), standard error, first index after a
    step.
    """

    what: str
    size: float
    u: float
    left: float
    at: int | None = None


def explained(
    y: np.ndarray,
    groups: np.ndarray,
    *,
    temperature: np.ndarray,
    others: dict[str, np.ndarray],
    limit: float,
) -> Explanation | None:
    """The explanation of `y` (n,), log ratios in the order run, that leaves least; None where none passes `limit`.

    groups (n,): labels of stops with one wanted level; temperature (n,): of their starts, any unit, NaN allowed;
    others: name -> regressor (n,). Sizes: of a step its height, of the rest the change of y between their 2 % and 98
    % quantiles.
    """
    n = y.size
    if n < 2 * LEAST_STOPS or not np.isfinite(y).all():
        return None
    _, label = np.unique(groups, return_inverse=True)
    rest = _without_means(_without_strays(y, label), label)
    sigma = MAD_TO_SD * float(np.median(np.abs(rest)))
    rest = _without_means(np.clip(rest, -CLIP * sigma, CLIP * sigma), label)
    order = np.arange(n, dtype=float)
    tried = [_step("time", rest, label, order), _slope("drift", rest, label, order)]
    tried += [_slope(name, rest, label, x) for name, x in others.items()]
    if np.isfinite(temperature).all() and np.ptp(temperature) > 0:
        tried.append(_step("temperature", rest, label, temperature))
    sure = [e for e in tried if e is not None and abs(e.size) > SIGMAS * e.u]
    best = min(sure, key=lambda e: e.left, default=None)
    # The limit is asked of the best one only: a step that is allowed looks like a larger drift.
    return best if best is not None and abs(best.size) > limit else None


def _without_strays(y: np.ndarray, label: np.ndarray) -> np.ndarray:
    """`y` with stops far off their group's median drawn in, where they are too few for a step: their group's mean
    would follow them, and all its other stops then seem to move.
    """
    off = y - np.array([np.median(y[label == k]) for k in range(label.max() + 1)])[label]
    reach = CLIP * MAD_TO_SD * float(np.median(np.abs(off)))
    far = np.abs(off) > reach
    if not reach or far.sum() >= LEAST_STOPS:
        return y
    return np.where(far, y - off + np.clip(off, -reach, reach), y)


def _without_means(values: np.ndarray, label: np.ndarray) -> np.ndarray:
    count = np.bincount(label)
    return values - (np.bincount(label, weights=values) / count)[label]


def _step(what: str, rest: np.ndarray, label: np.ndarray, along: np.ndarray) -> Explanation | None:
    """The step along `along` that explains most of `rest` (n,), whose groups' means are zero."""
    order = np.argsort(along, kind="stable")
    values, label, n = rest[order], label[order], rest.size
    member = label[:, None] == np.arange(label.max() + 1)
    before = np.cumsum(member, axis=0)  # of each group, up to and with each stop
    total = before[-1]
    k = np.arange(LEAST_STOPS, n - LEAST_STOPS + 1)
    free = (before[k - 1] * (total - before[k - 1]) / total).sum(axis=1)
    after = -np.cumsum(values)[k - 1]
    moved = np.r_[True, np.diff(along[order]) > 0][np.minimum(k, n - 1)]
    ok = (free >= LEAST_STOPS / 2) & moved
    if not ok.any():
        return None
    best = int(np.argmax(np.where(ok, after**2 / np.maximum(free, 1e-12), -1.0)))
    at, size = int(k[best]), float(after[best] / free[best])
    x = _without_means((np.arange(n) >= at).astype(float), label)
    left = np.abs(values - size * x)
    u = MAD_TO_SD * float(np.median(left)) / np.sqrt(free[best])
    # The first stop in the order run that lies behind the step in time; of a step in temperature the coolest one.
    return Explanation(what, size, float(u), float(left.sum()), int(order[at]))


def _slope(what: str, rest: np.ndarray, label: np.ndarray, x: np.ndarray) -> Explanation | None:
    if not np.isfinite(x).all():
        return None
    own = _without_means(x, label)
    square = float(own @ own)
    if square <= 1e-18 * max(float(x @ x), 1e-300):
        return None
    slope = float(own @ rest) / square
    left = np.abs(rest - slope * own)
    u = MAD_TO_SD * float(np.median(left)) / np.sqrt(square)
    span = float(np.quantile(x, 0.98) - np.quantile(x, 0.02))
    return Explanation(what, slope * span, float(u * span), float(left.sum()))
