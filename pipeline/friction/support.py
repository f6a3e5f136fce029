"""Where the data allow a value, and where there is nothing.

A temperature is supported between stops that are at most `gap` apart, counted over the stops in order of
temperature; it is thin where fewer than three stops lie within half a gap of it. Nothing is ever given beyond
the coldest or the hottest stop or inside a wider gap. A condition (pressure, speed, energy density) is
supported inside the range that the stops ran; two conditions together are supported where stops lie nearby in
both.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

THIN_BELOW = 3
MARGIN = 0.05  # share of a condition's range allowed beyond it: the recorded value of a set-point scatters
NEAR = 0.22  # distance, in shares of the ranges of two conditions, that a stop speaks for


@dataclass(frozen=True)
class Support:
    """The data's own conditions: temperatures in K, sorted; linear effects as the model sees them."""

    temperature: np.ndarray
    linear: np.ndarray  # (n, c) all candidate effects, dropped ones included
    gap: float  # K

    def stretches(self) -> list[tuple[float, float]]:
        """Unbroken supported temperature ranges in K, each with at least two stops."""
        t = self.temperature
        breaks = np.flatnonzero(np.diff(t) > self.gap)
        starts, ends = np.r_[0, breaks + 1], np.r_[breaks, t.size - 1]
        return [(float(t[a]), float(t[b])) for a, b in zip(starts, ends, strict=True) if b > a and t[b] > t[a]]

    def temperatures_supported(self, temperature: np.ndarray) -> np.ndarray:
        """Boolean, elementwise; NaN is unsupported."""
        temperature = np.asarray(temperature, float)
        inside = np.zeros(temperature.shape, bool)
        for low, high in self.stretches():
            inside |= (temperature >= low - 1e-9) & (temperature <= high + 1e-9)
        return inside

    def near(self, temperature: np.ndarray) -> np.ndarray:
        """Number of stops within half a gap of each temperature."""
        t = np.asarray(temperature, float)
        return np.searchsorted(self.temperature, t + self.gap / 2, "right") - np.searchsorted(
            self.temperature, t - self.gap / 2, "left"
        )

    def linear_supported(self, linear: np.ndarray) -> np.ndarray:
        """Boolean per row: every effect inside the range run (a small margin for the scatter of a
        set-point).
        """
        if self.linear.shape[1] == 0:
            return np.ones(len(linear), bool)
        low, high = self.linear.min(axis=0), self.linear.max(axis=0)
        spare = np.maximum(MARGIN * (high - low), 1e-3)
        return ((linear >= low - spare) & (linear <= high + spare)).all(axis=1)


def near_in_two(x: np.ndarray, y: np.ndarray, x_values: np.ndarray, y_values: np.ndarray) -> np.ndarray:
    """Grid (len(y_values), len(x_values)) true where a stop lies within NEAR in both conditions' ranges taken
    together.
    """
    x_range, y_range = max(np.ptp(x), 1e-12), max(np.ptp(y), 1e-12)
    dx = ((x_values[:, None] - x[None, :]) / x_range) ** 2
    dy = ((y_values[:, None] - y[None, :]) / y_range) ** 2
    return (dy[:, None, :] + dx[None, :, :]).min(axis=-1) <= NEAR**2
