"""When a change began, and whether it grew with low-energy use, with time, or came as a step.

Checks tell how much, but not when: stops of use between them are added, each group with a level of its own, and the
change may show in them with another size than in the checks (cold stops feel the same glaze differently). For every
possible onset and shape the likelihood of the stops up to the first high-energy use after the loss is computed; the
onset is where it is highest, its interval the stops that hold the stated share of the likelihood.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.constants import Array
from pipeline.drift.shapes import Shapes


class Onset(NamedTuple):
    """First affected stop with interval, the families' best log likelihoods, sizes in checks and in use."""

    stop: int
    low: int
    high: int
    family: str
    gain: dict[str, float]  # log likelihood over no change, by family, onsets weighed
    top: dict[str, float]  # the same at the best onset
    size_checks: float
    size_use: float
    constant: float  # of the likeliest shape: low-energy stops to 63 % of a glaze


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

    `likely` are stops at which low-energy use begins: a glaze is taken to begin there as likely as at all other stops
    together, so the onset lies there unless the stops speak against it.
    """
    basis = np.linalg.qr(whiten @ design)[0]
    whitened = whiten @ values
    whitened = whitened - basis @ (basis.T @ whitened)
    gain, size_checks, size_use = gains(whitened, basis, whiten, shapes, checks, sign)
    best = {str(f): _weighed(f, gain, shapes, likely, stop) for f in np.unique(shapes.family)}
    family = max(best, key=best.__getitem__)
    if "glaze" in best and best["glaze"] >= best[family] - NEARLY:
        family = "glaze"
    own = shapes.family == family
    onsets = np.unique(shapes.onset[own])
    weight = np.zeros(len(onsets))
    np.add.at(weight, np.searchsorted(onsets, shapes.onset[own]), np.exp(gain[own] - gain[own].max()))
    span = np.diff(onsets, prepend=_before(stop, onsets[0]))
    weight *= _prior(onsets, likely) if family == "glaze" else np.maximum(span, 1)
    share = np.cumsum(weight) / weight.sum()
    tail = (1 - confidence) / 2
    low, middle, high = (_quantile(onsets, share, p) for p in (tail, 0.5, 1 - tail))
    if family == "glaze":
        middle = _at_the_start_of_use(middle, shapes.onset[own], gain[own], likely)
        low, high = min(low, middle), max(high, middle)
    if family == "step":
        low = min(low, _before(stop, low) + 1)
    peak = np.flatnonzero(own)[np.argmax(gain[own])]
    top = {str(f): float(gain[shapes.family == f].max()) for f in np.unique(shapes.family)}
    return Onset(
        middle,
        low,
        high,
        family,
        best,
        top,
        float(size_checks[peak]),
        float(size_use[peak]),
        float(shapes.constant[peak]),
    )


def _quantile(onsets: NDArray[np.int64], share: Array, probability: float) -> int:
    return int(onsets[min(int(np.searchsorted(share, probability)), len(onsets) - 1)])


NEARLY = 2.0  # ln likelihood within which a loss is taken to grow with use rather than by a step or with time
START_MARGIN = 2.0  # ln likelihood by which the stops must speak against the start of use


def _at_the_start_of_use(onset: int, onsets: NDArray[np.int64], gain: Array, likely: NDArray[np.int64]) -> int:
    """The start of use where it is nearly as likely as the best onset, else the onset given."""
    begins = np.isin(onsets, likely)
    if not begins.any():
        return onset
    best = np.flatnonzero(begins)[np.argmax(gain[begins])]
    return int(onsets[best]) if gain[best] >= gain.max() - START_MARGIN else onset


def _weighed(family: str, gain: Array, shapes: Shapes, likely: NDArray[np.int64], stop: NDArray[np.int64]) -> float:
    """Log likelihood of a family over no change, its onsets and constants weighed by how likely they are beforehand.

    A step may lie at any stop, so one that fits well at a single place is worth less than a glaze that fits from the
    start of the use on.
    """
    own = shapes.family == family
    onsets, index, count = np.unique(shapes.onset[own], return_inverse=True, return_counts=True)
    if family == "glaze":
        prior = _prior(onsets, likely)
    else:
        prior = np.maximum(np.diff(onsets, prepend=_before(stop, onsets[0])), 1).astype(float)
    weight = (prior / prior.sum() / count)[index]
    top = gain[own].max()
    return float(top + np.log(np.sum(weight * np.exp(gain[own] - top))))


def _prior(onsets: NDArray[np.int64], likely: NDArray[np.int64]) -> Array:
    """Half on the stops at which use begins, half spread over all others."""
    begins = np.isin(onsets, likely)
    if not begins.any() or begins.all():
        return np.ones(len(onsets))
    return np.where(begins, 0.5 / begins.sum(), 0.5 / (~begins).sum())


def _before(stop: NDArray[np.int64], onset: int) -> int:
    earlier = stop[stop < onset]
    return int(earlier[-1]) if len(earlier) else int(onset) - 1
