"""How temperature interacts with pressure, speed and energy density.

Friction is made at the rubbing face, and through a stop the face runs above the disc, the more the harder the stop. So
a hard stop from a cold disc has the friction of a gentler one from a warmer disc: the conditions move the curve
along the temperature.

    s(T + c'f(x)) + b'x + sum over k of d_k(T) f_k(x),     f(x) = 2 (root(v/v0) - 1) of each condition v, and products of
                                                           two of these where the design varied them together

x are the effects centred at the reference v0, so the curve there is s(T) itself; c in K. The roots are the half space's, whose
face under an even flux q rises by q root(t) (Carslaw and Jaeger 1959): energy density e over the time e/q, with q as pressure times
speed, gives root(e p w). By the logarithms themselves the face at the middle of three pressures came out too hot, and the curve at a
reference between gentler and harder stops some kelvin too cold. What a shift does not catch (the face is not at one
temperature through a stop, its rise changes with mu) is left to effects that change slowly with
temperature, d_k, independent values at NODES temperatures with linear weights, their size a variance of the model. A
shift that the design does not show (conditions varied on a plateau only) stays as uncertain as SHIFT_K says.

`start` seeks the shift by least squares; `pipeline.friction.model` then turns it together with the curve (Gauss-Newton: the
column of a shift is the curve's slope times f), so that its uncertainty is in every band.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from pipeline.friction import effects, smooth

NODES = 6
SHIFT_K = (
    100.0  # how far a condition's usual change may move the curve (from memory: faces run 50 to 300 K above the disc)
)
FARTHEST_K = 400.0
START_SEGMENTS, START_STIFFNESS, START_RIDGE = 24, 0.02, 1e-3
FIRST_K = 40.0  # a warmer face for every harder condition


@dataclass(frozen=True)
class Interaction:
    """Shift of the curve, K for each feature; `size` is each effect's spread in the data, `level` the reference's condition in the
    effect's unit, NaN of a logarithm, `low` and `high` (K) the range of the method's temperature."""

    shift: np.ndarray
    pairs: tuple[tuple[int, int], ...]
    squares: tuple[int, ...]
    size: np.ndarray
    level: np.ndarray
    low: float
    high: float

    def features(self, x: np.ndarray) -> np.ndarray:
        """Effects (m, k) -> features (m, q), each of about unit spread."""
        roots = np.where(np.isnan(self.level), np.exp(x / 2), np.sqrt(np.maximum(1 + x / self.level, 0.0)))
        own = 2 * (roots - 1) * np.where(np.isnan(self.level), 1.0, self.level) / self.size
        return np.column_stack([own, *[own[:, a] * own[:, b] for a, b in self.pairs]])

    def moved(self, temperature: np.ndarray, x: np.ndarray) -> np.ndarray:
        """Temperature (K) at which the curve is read for stops at `temperature` (K) and effects x."""
        return temperature + np.clip(self.features(x) @ self.shift, -FARTHEST_K, FARTHEST_K)

    def without(self, k: int) -> Interaction:
        """The interaction of the other effects than k."""
        keep = [j for j in range(self.size.size) if j != k]
        pairs = [n for n, pair in enumerate(self.pairs) if k not in pair]
        renumbered = tuple((keep.index(self.pairs[n][0]), keep.index(self.pairs[n][1])) for n in pairs)
        shift = self.shift[[*keep, *(self.size.size + n for n in pairs)]]
        squares = tuple(keep.index(j) for j in self.squares if j != k)
        return replace(
            self, shift=shift, pairs=renumbered, squares=squares, size=self.size[keep], level=self.level[keep]
        )

    def columns(self, x: np.ndarray, steepness: np.ndarray) -> np.ndarray:
        """What a small further shift does, per standard deviation of its prior; (m, q)."""
        return self.features(x) * (SHIFT_K * steepness)[:, None]

    def varying(self, temperature: np.ndarray, x: np.ndarray) -> np.ndarray:
        """Columns of the effects that change with temperature: of each effect, of the squares and products that the design
        tells apart; (m, NODES (k + squares + pairs))."""
        hats = smooth.hats(temperature, self.low, self.high, NODES)
        own = self.features(x)
        squares = own[:, list(self.squares)] ** 2
        return np.hstack([hats * column[:, None] for column in np.column_stack([own, squares]).T])


def start(temperature: np.ndarray, response: np.ndarray, x: np.ndarray, level: np.ndarray) -> Interaction:
    """The shift that lets one curve and fixed effects fit best by least squares; temperature (n,) K, x (n, k), level (k,) as of
    `Interaction`, k > 0."""
    from scipy.optimize import least_squares

    size = np.maximum(x.std(axis=0), 1e-12)
    low, high = float(temperature.min()), float(temperature.max())
    basis = np.column_stack([smooth.hats(temperature, low, high, NODES)[:, 1:], x])
    pairs = tuple(
        (a, b)
        for a, b in combinations(range(x.shape[1]), 2)
        if effects.left_alone(x[:, a] * x[:, b], basis) >= effects.TIED_BELOW
    )
    squares = tuple(
        a
        for a in range(x.shape[1])
        if effects.left_alone(x[:, a] ** 2, np.column_stack([basis, *[x[:, i] * x[:, j] for i, j in pairs]]))
        >= effects.TIED_BELOW
    )
    blank = Interaction(np.zeros(x.shape[1] + len(pairs)), pairs, squares, size, level, low, max(high, low + 1.0))
    features = blank.features(x)

    def misfit(scaled: np.ndarray) -> np.ndarray:
        at = replace(blank, shift=SHIFT_K * scaled).moved(temperature, x)
        return np.r_[residual(at, response, x / size), START_RIDGE * scaled]

    first = np.zeros(features.shape[1])
    first[: x.shape[1]] = FIRST_K / SHIFT_K
    found = [
        least_squares(misfit, way * first, bounds=(-4, 4), max_nfev=12, ftol=1e-4, xtol=1e-3) for way in (0.0, 1.0)
    ]
    return replace(blank, shift=SHIFT_K * min(found, key=lambda f: f.cost).x)


def residual(at: np.ndarray, response: np.ndarray, x: np.ndarray) -> np.ndarray:
    """Misfit of a stiff penalised curve over `at` (K) with fixed effects x, its penalty's own misfit behind it."""
    low, high = float(at.min()), float(at.max())
    segments = START_SEGMENTS
    basis = np.column_stack([smooth.bspline_basis(at, low, max(high, low + 1.0), segments), x])
    penalty = np.zeros((segments + 1, basis.shape[1]))
    penalty[:, : segments + 3] = np.sqrt(START_STIFFNESS) * np.diff(np.eye(segments + 3), n=2, axis=0)
    cross = basis.T @ basis + penalty.T @ penalty + 1e-9 * len(at) * np.eye(basis.shape[1])
    coefficients = np.linalg.solve(cross, basis.T @ response)
    return np.r_[response - basis @ coefficients, penalty @ coefficients]
