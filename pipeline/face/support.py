"""Where the law may be asked: inside what the stops' samples span in face temperature, pressure and speed together.

The span is the convex hull of the samples and of the stops' starts in (temperature, ln pressure, ln speed), each scaled by its own range; a point outside
is refused with the direction and how far. A condition that hardly varied is no axis: it is held to its own range.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.constants import RAD_PER_S, ZERO_C, Array

NAMES = ("face temperature", "pressure", "speed")
LEAST = np.array([20.0, 0.05, 0.05])  # K, logarithms: below this a condition was not varied
SLACK = np.array([5.0, 0.03, 0.05])  # scatter of set-points
BULGE = 0.02  # of the range


@dataclass(frozen=True)
class Hull:
    """A convex body: planes `equations` (normal, offset) with normal @ x + offset <= 0 inside, over the axes in `axes`."""

    low: Array  # [3] K, ln Pa, ln rad/s
    high: Array
    axes: tuple[int, ...]
    equations: Array

    def outside(self, points: Array) -> Array:
        """How far points [n, 3] lie outside, in parts of the range; 0 inside."""
        span = np.maximum(self.high - self.low, LEAST)
        beyond = np.maximum(self.low - SLACK - points, points - self.high - SLACK) / span
        far = np.maximum(beyond.max(axis=1), 0.0)
        if self.equations.size:
            scaled = ((points - self.low) / span)[:, list(self.axes)]
            over = (scaled @ self.equations[:, :-1].T + self.equations[:, -1]).max(axis=1)
            far = np.maximum(far, np.where(over > self._slack(), over, 0.0))
        return far

    def _slack(self) -> float:
        span = np.maximum(self.high - self.low, LEAST)
        return float((SLACK / span)[list(self.axes)].max()) + BULGE

    def why(self, points: Array) -> str | None:
        """The first thing that takes the points outside, with direction and size; None where all lie inside."""
        far = self.outside(points)
        if not (far > 0).any():
            return None
        point = points[int(np.argmax(far))]
        said = []
        for i, name in enumerate(NAMES):
            low, high = self._along(point, i)
            if low is None or high is None:
                continue
            if point[i] < low:
                said.append(
                    f"{name} {_shown(i, point[i])} is {_gap(i, point[i], low)} below the data ({_shown(i, low)} and up there)"
                )
            elif point[i] > high:
                said.append(
                    f"{name} {_shown(i, point[i])} is {_gap(i, point[i], high)} above the data (up to {_shown(i, high)} there)"
                )
        if said:
            return "; or ".join(said)
        at = ", ".join(f"{name} {_shown(i, point[i])}" for i, name in enumerate(NAMES))
        return f"no stop was run near {at} taken together"

    def _along(self, point: Array, axis: int) -> tuple[float | None, float | None]:
        """The data's range along one axis at the point's other conditions; None where the others alone lie outside."""
        others = [i for i in range(3) if i != axis]
        if ((point < self.low - SLACK) | (point > self.high + SLACK))[others].any():
            return None, None
        if axis not in self.axes or not self.equations.size:
            return float(self.low[axis]), float(self.high[axis])
        span = np.maximum(self.high - self.low, LEAST)
        scaled = ((point - self.low) / span)[list(self.axes)]
        k = self.axes.index(axis)
        normal = self.equations[:, k]
        rest = self.equations[:, :-1] @ scaled - normal * scaled[k] + self.equations[:, -1]
        low, high = -np.inf, np.inf
        flat = np.abs(normal) < 1e-12
        if (rest[flat] > self._slack()).any():
            return None, None
        with np.errstate(divide="ignore"):
            at = -(rest - self._slack()) / normal
        low = max(low, at[normal < -1e-12].max(initial=-np.inf))
        high = min(high, at[normal > 1e-12].min(initial=np.inf))
        if low > high:
            return None, None
        return tuple(
            float(np.clip(self.low[axis] + v * span[axis], self.low[axis], self.high[axis])) for v in (low, high)
        )  # type: ignore[return-value]


def hull_of(kelvin: Array, pressure: Array, speed: Array) -> Hull:
    """The hull of samples [n]."""
    points = np.column_stack([kelvin, np.log(pressure), np.log(speed)])
    low, high = points.min(axis=0), points.max(axis=0)
    axes = tuple(int(i) for i in np.flatnonzero(high - low >= LEAST))
    equations = np.zeros((0, len(axes) + 1))
    if len(axes) >= 2:
        from scipy.spatial import ConvexHull, QhullError

        scaled = ((points - low) / np.maximum(high - low, LEAST))[:, list(axes)]
        try:
            equations = np.unique(ConvexHull(scaled).equations.round(9), axis=0)
        except QhullError:  # samples on one line: their ranges alone hold
            equations = np.zeros((0, len(axes) + 1))
    return Hull(low, high, axes, equations)


def _shown(axis: int, value: float) -> str:
    if axis == 0:
        return f"{value - ZERO_C:.0f} °C"
    return f"{np.exp(value) / 1e5:.1f} bar" if axis == 1 else f"{np.exp(value) / RAD_PER_S:.0f} rpm"


def _gap(axis: int, value: float, edge: float) -> str:
    if axis == 0:
        return f"{abs(value - edge):.0f} K"
    return (
        f"{abs(np.exp(value) - np.exp(edge)) / 1e5:.1f} bar"
        if axis == 1
        else f"{abs(np.exp(value) - np.exp(edge)) / RAD_PER_S:.0f} rpm"
    )
