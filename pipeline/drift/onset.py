"""When a change began, and whether it grew with low-energy use, with time, or came as a step.

Checks tell how much, but not when: stops of use between them are added, each group with a level of its own, and the
change may show in them with another size than in the checks (cold stops feel the same glaze differently). For every
possible onset and shape the likelihood of the stops up to the first high-energy use after the loss is computed; the
onset is where it is highest, its interval the stops that hold the stated share of the likelihood.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.drift.shapes import Shapes

Array = NDArray[np.float64]


class Onset(NamedTuple):
    """First affected stop with interval, the families' best log likelihoods, sizes in checks and in use."""

    stop: int
    low: int
    high: int
    family: str
    gain: dict[str, float]  # log likelihood over no change, by family
    size_checks: float
    size_use: float


def gains(
    whitened: Array, basis: Array, whiten: Array, shapes: Shapes, checks: NDArray[np.bool_], sign: float
) -> tuple[Array, Array, Array]:
    """Log likelihood gain (k,) of each shape and its sizes in checks and in use, both of the given sign.

    `whitened` values (n,) clear of the levels, `basis` the levels' orthonormal columns in whitened space.
    """

    def clear(columns: Array) -> Array:
        columns = whiten @ columns
        return columns - basis @ (basis.T @ columns)

    a = clear(shapes.columns * checks[:, None])
    b = clear(shapes.columns * ~checks[:, None])
    aa, bb, ab = (a * a).sum(axis=0), (b * b).sum(axis=0), (a * b).sum(axis=0)
    ya, yb = whitened @ a, whitened @ b
    tiny = 1e-9
    only_a = np.where(aa > tiny, ya / np.where(aa > tiny, aa, 1.0), 0.0)
    only_b = np.where(bb > tiny, yb / np.where(bb > tiny, bb, 1.0), 0.0)
    det = aa * bb - ab * ab
    both = (det > tiny * np.maximum(aa * bb, tiny)) & (aa > tiny) & (bb > tiny)
    safe = np.where(both, det, 1.0)
    size_a, size_b = (bb * ya - ab * yb) / safe, (aa * yb - ab * ya) / safe
    both &= (size_a * sign > 0) & (size_b * sign > 0)
    a_only, b_only = only_a * sign > 0, only_b * sign > 0
    gain_a = np.where(a_only, 0.5 * only_a * ya, 0.0)
    gain_b = np.where(b_only, 0.5 * only_b * yb, 0.0)
    first = gain_a >= gain_b
    gain = np.where(both, 0.5 * (size_a * ya + size_b * yb), np.where(first, gain_a, gain_b))
    out_a = np.where(both, size_a, np.where(first & a_only, only_a, 0.0))
    out_b = np.where(both, size_b, np.where(~first & b_only, only_b, 0.0))
    return gain, out_a, out_b


def date(
    values: Array,
    design: Array,
    whiten: Array,
    stop: NDArray[np.int64],
    shapes: Shapes,
    checks: NDArray[np.bool_],
    sign: float,
    likely: NDArray[np.int64],
    confidence: float,
) -> Onset:
    """Onset of a change of the given sign.

    `likely` are stops at which low-energy use begins: where the likelihood can hardly tell, the onset lies there
    (each counts as much as five other stops).
    """
    basis = np.linalg.qr(whiten @ design)[0]
    whitened = whiten @ values
    whitened = whitened - basis @ (basis.T @ whitened)
    gain, size_checks, size_use = gains(whitened, basis, whiten, shapes, checks, sign)
    best = {str(f): float(gain[shapes.family == f].max()) for f in np.unique(shapes.family)}
    family = max(best, key=best.__getitem__)
    if "glaze" in best and best["glaze"] >= best[family] - 1.0:
        family = "glaze"
    own = shapes.family == family
    onsets = np.unique(shapes.onset[own])
    weight = np.zeros(len(onsets))
    np.add.at(weight, np.searchsorted(onsets, shapes.onset[own]), np.exp(gain[own] - gain[own].max()))
    span = np.diff(onsets, prepend=_before(stop, onsets[0]))
    weight *= (
        np.where(np.isin(onsets, likely), 5.0, 1.0) * np.maximum(span, 1) if family != "step" else np.maximum(span, 1)
    )
    share = np.cumsum(weight) / weight.sum()
    tail = (1 - confidence) / 2
    low = int(onsets[min(np.searchsorted(share, tail), len(onsets) - 1)])
    high = int(onsets[min(np.searchsorted(share, 1 - tail), len(onsets) - 1)])
    middle = int(onsets[min(np.searchsorted(share, 0.5), len(onsets) - 1)])
    if family == "step":
        low = min(low, _before(stop, low) + 1)
    peak = np.flatnonzero(own)[np.argmax(gain[own])]
    return Onset(middle, low, high, family, best, float(size_checks[peak]), float(size_use[peak]))


def _before(stop: NDArray[np.int64], onset: int) -> int:
    earlier = stop[stop < onset]
    return int(earlier[-1]) if len(earlier) else int(onset) - 1
