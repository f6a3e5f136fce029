"""A smooth curve in temperature as fixed line plus random bends.

Cubic B-splines on even knots with a penalty on second differences of the coefficients (P-splines, Eilers and
Marx 1996). Written as a mixed model: coefficients = (constant, slope) + bends, the bends independent with a
variance that may change along the temperature axis. A carbon flank climbs within 50 K and the plateau beside
it is flat for 300 K; one penalty for both would round the flank off or ripple the plateau.

Knots are even and denser than the data: between data the penalty interpolates and the band widens by itself,
and whether a value may be given there at all is decided by `pipeline.friction.support`.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

DEGREE = 3
KNOT_SPACING_K = 15.0
FEWEST_SEGMENTS, MOST_SEGMENTS = 6, 40


def segments_for(low: float, high: float) -> int:
    """Number of knot intervals over a temperature range in K."""
    return int(np.clip(np.ceil((high - low) / KNOT_SPACING_K), FEWEST_SEGMENTS, MOST_SEGMENTS))


def bspline_basis(x: np.ndarray, low: float, high: float, segments: int, *, slope: bool = False) -> np.ndarray:
    """Uniform cubic B-splines (scipy's), shape (len(x), segments + 3); with `slope` their derivative per unit of x.

    Outside [low, high] the end values are held; callers never show them.
    """
    from scipy.interpolate import BSpline

    knots = low + (high - low) / segments * np.arange(-DEGREE, segments + DEGREE + 1)
    splines = BSpline(knots, np.eye(segments + DEGREE), DEGREE)
    return splines(np.clip(np.asarray(x, float), low, high), nu=int(slope))


@lru_cache(maxsize=32)
def bends(segments: int) -> np.ndarray:
    """Map from independent second differences to spline coefficients, shape (segments + 3, segments + 1).

    D' (D D')^-1 with D the second-difference matrix: what is left of the coefficients once their straight
    line, which no penalty touches, is taken out.
    """
    differences = np.diff(np.eye(segments + DEGREE), n=2, axis=0)
    return np.linalg.solve(differences @ differences.T, differences).T


def bend_basis(x: np.ndarray, low: float, high: float, segments: int, *, slope: bool = False) -> np.ndarray:
    """The bends' columns at x, shape (len(x), segments + 1), not to be written into.

    The bands ask for them at the same temperatures from hundreds of fits that differ in their variances alone, so the last few are kept.
    """
    x = np.ascontiguousarray(x, float)
    return _bend_basis(x.tobytes(), low, high, segments, slope)


@lru_cache(maxsize=64)
def _bend_basis(x: bytes, low: float, high: float, segments: int, slope: bool) -> np.ndarray:
    found = bspline_basis(np.frombuffer(x), low, high, segments, slope=slope) @ bends(segments)
    found.flags.writeable = False
    return found


def hats(x: np.ndarray, low: float, high: float, count: int) -> np.ndarray:
    """Piecewise linear weights on `count` even nodes, rows summing to 1: slow changes along the axis."""
    if count == 1:
        return np.ones((np.size(x), 1))
    u = (np.clip(np.asarray(x, float), low, high) - low) / (high - low) * (count - 1)
    return np.clip(1 - np.abs(u[:, None] - np.arange(count)[None, :]), 0.0, 1.0)
