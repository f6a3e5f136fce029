"""The statistical model under the friction map.

    g(mu) = s(T) + b'(x - x0) + shifts of batch and specimen + scatter

g is the identity or the logarithm, T the method's temperature, x the linear effects, s the smooth of
`pipeline.friction.smooth`. A specimen may be shifted in level and, its flank being where it is, along the
temperature. The scatter may change slowly with temperature and is larger on a flank, which turns a few kelvin
of temperature error into a large spread; neighbouring stops of one test may be alike (first-order
autocorrelation, decaying with the number of stops between them). The variances come from
`pipeline.friction.likelihood`.

Stray stops are held back by Huber's psi at `huber` standard deviations: the response is replaced by fit +
psi(residual) until nothing moves, which solves the M-estimator's equations; variances are corrected for the
cut (Huber and Ronchetti 2009, ch. 7).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from pipeline.friction import smooth
from pipeline.friction.likelihood import (
    CORRELATION,
    GROUPS,
    SCATTER_NODES,
    USUAL_SCATTER,
    USUAL_SHIFT_K,
    Data,
    bend_columns,
    design_of,
    most_likely,
    scatter_shape,
    solve,
)
from pipeline.friction.mixed import Profile
from pipeline.friction.neighbourhood import around

ROUNDS = 8
SETTLED = 0.05  # standard deviations of a stop
LEAST_SCATTER = 5e-4  # link units: equal stops are equal by the recorder's digits, not known without error
SLOPE_NODES = 200
GROSS, NEIGHBOURS = 6.0, 21
NEAR_K, FEWEST_NEAR = 30.0, 7


@dataclass(frozen=True)
class Fit:
    """A fitted model; `theta` the log variances, `solved` the coefficients of [1, T, x, bends, groups]."""

    data: Data
    theta: np.ndarray
    solved: Profile
    scale: float  # variance of a usual stop, link units squared, corrected for the cut of strays
    inflation: float  # covariance of the coefficients over solved.inverse
    fitted: np.ndarray  # with the stop's own group shifts
    pulled: np.ndarray  # response with strays held back
    cut: np.ndarray  # psi(residual) / residual, 1 for a stop taken whole
    slope_at: tuple[np.ndarray, np.ndarray]  # temperatures and steepness there

    @property
    def fixed(self) -> int:
        return 2 + self.data.linear.shape[1]

    @property
    def correlation(self) -> float:
        return float(self.theta[CORRELATION])

    def row(self, temperature: np.ndarray, linear: np.ndarray, *, slope: bool = False) -> np.ndarray:
        """Rows of the design at new conditions, group shifts zero, shape (m, coefficients); with `slope`
        per K.
        """
        random = bend_columns(self.data, self.theta, temperature, slope=slope)
        ones = np.zeros(temperature.size) if slope else np.ones(temperature.size)
        line = np.full(temperature.size, 1 / 100) if slope else (temperature - self.data.low) / 100
        groups = np.zeros((temperature.size, self.solved.coefficients.size - self.fixed - random.shape[1]))
        return np.column_stack([ones, line, np.zeros_like(linear) if slope else linear, random, groups])

    def curve_row(self, temperature: np.ndarray, *, slope: bool = False) -> np.ndarray:
        """Rows of the curve at the reference conditions."""
        return self.row(temperature, np.zeros((temperature.size, self.data.linear.shape[1])), slope=slope)

    def variance(self, rows: np.ndarray) -> np.ndarray:
        """Variance of rows @ coefficients, by the mixed-model equations; link units squared."""
        return ((rows @ self.solved.inverse) * rows).sum(axis=1) * self.inflation

    def steepness(self, temperature: np.ndarray) -> np.ndarray:
        return np.interp(temperature, *self.slope_at)

    def scatter_hats(self, temperature: np.ndarray) -> np.ndarray:
        return smooth.hats(temperature, self.data.low, self.data.high, SCATTER_NODES)

    def scatter(self, temperature: np.ndarray) -> np.ndarray:
        """Standard deviation of a single usual stop about the curve of its specimen, link units."""
        shape = scatter_shape(self.scatter_hats(temperature), self.theta, self.steepness(temperature))
        return np.sqrt(self.scale) * shape

    def level_variances(self) -> np.ndarray:
        """Variances of the random factors, in the order of the data's groups: link units squared, of a
        shift K^2.
        """
        return np.array(
            [
                self.scale * np.exp(2 * log_sd) * ((USUAL_SHIFT_K / USUAL_SCATTER) ** 2 if group.along else 1.0)
                for group, log_sd in zip(self.data.groups, self.theta[GROUPS], strict=True)
            ]
        )

    def batch_shifts(self) -> np.ndarray:
        """Shift of each batch tested from their mean, link units; none where batches are no fixed effect."""
        if self.data.contrasts is None:
            return np.zeros(0)
        count = self.data.contrasts.shape[1]
        return self.data.contrasts @ self.solved.coefficients[self.fixed - count : self.fixed]

    def between(self, temperature: np.ndarray) -> np.ndarray:
        """Variance of a specimen's curve about the mean curve: random factors and the batches tested; link
        units squared.
        """
        shifts = self.batch_shifts()
        total = np.full(temperature.size, float(shifts @ shifts) / max(shifts.size, 1))
        steep = USUAL_SCATTER * self.steepness(temperature)
        for group, variance in zip(self.data.groups, self.level_variances(), strict=True):
            total += variance * steep**2 if group.along else variance
        return total

    @property
    def effective_parameters(self) -> float:
        """Trace of the influence matrix: the freedom that curve, effects and shifts take up."""
        ridge = np.r_[np.zeros(self.fixed), np.ones(self.solved.coefficients.size - self.fixed)]
        return float(self.solved.coefficients.size - (np.diag(self.solved.inverse) * ridge).sum())


def fit(data: Data, *, huber: float, start: np.ndarray | None = None) -> Fit:
    """Fit by penalised restricted likelihood and Huber's psi; `data` sorted, its range and steepness are
    set here.
    """
    low, high = float(data.temperature.min()), float(data.temperature.max())
    high = max(high, low + 1.0)
    data = replace(data, low=low, high=high, segments=smooth.segments_for(low, high))
    psi_square, psi_slope = huber_constants(huber)
    now, theta = replace(data, response=gross_held(data.temperature, data.response)), start
    nodes = np.linspace(low, high, SLOPE_NODES)
    slope_at = (nodes, np.interp(nodes, *ordered(data.temperature, data.steepness)))
    for _ in range(ROUNDS):
        theta = most_likely(now, theta)
        solved = solve(now, theta)
        scale = max(solved.scale / psi_square, LEAST_SCATTER**2)
        fitted = design_of(now, theta) @ solved.coefficients
        sd = np.sqrt(scale) * scatter_shape(now.scatter_basis, theta, now.steepness) * data.weight_sd
        residual = data.response - fitted
        held = np.clip(residual, -huber * sd, huber * sd)
        found = Fit(now, theta, solved, scale, scale * psi_square / psi_slope**2, fitted, fitted + held,
                    np.where(residual == 0, 1.0, held / np.where(residual == 0, 1.0, residual)), slope_at)  # fmt: skip
        slope_at = (nodes, found.curve_row(nodes, slope=True) @ solved.coefficients / USUAL_SCATTER)
        moved = np.max(np.abs(fitted + held - now.response) / sd)
        steep = np.interp(data.temperature, *slope_at)
        turned = np.max(np.abs(steep - now.steepness))
        now = replace(data, response=fitted + held, steepness=steep)
        if moved < SETTLED and turned < SETTLED:
            break
    return found


def gross_held(temperature: np.ndarray, response: np.ndarray) -> np.ndarray:
    """The response with gross strays drawn in: at most GROSS robust deviations off the median of the stops
    around.

    A start only: a few stops of another world would otherwise swell the scatter that strays are judged by.
    Where there are FEWEST_NEAR stops within NEAR_K, these say what is usual. Where there are fewer, the median
    reaches over the flank, so a stop that another one within NEAR_K agrees with is taken as it is: the cold
    stops of a sparse design are no strays for lying off the plateau.
    """
    near = around(temperature, response, NEIGHBOURS)
    close = np.abs(around(temperature, temperature, NEIGHBOURS) - temperature[:, None]) <= NEAR_K
    dense = close.sum(axis=1) >= FEWEST_NEAR
    usual = np.where(close | ~dense[:, None], near, np.nan)
    middle = np.nanmedian(usual, axis=1)
    spread = 1.4826 * np.nanmedian(np.abs(usual - middle[:, None]), axis=1)
    usual_spread = np.median(spread)
    spread = np.maximum(spread, usual_spread)
    alike = np.abs(near - response[:, None]) <= GROSS * usual_spread
    seconded = (close & alike).sum(axis=1) >= 2  # itself and another
    reach = np.where(~dense & seconded, np.inf, GROSS * spread)
    return np.clip(response, middle - reach, middle + reach)


def ordered(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    order = np.argsort(x)
    return x[order], y[order]


def huber_constants(huber: float) -> tuple[float, float]:
    """E psi^2 and E psi' of Huber's psi under a standard normal."""
    inside = 2 * special.ndtr(huber) - 1
    density = np.exp(-(huber**2) / 2) / np.sqrt(2 * np.pi)
    return float(inside - 2 * huber * density + huber**2 * (1 - inside)), float(inside)
