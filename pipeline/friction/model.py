"""The statistical model under the friction map.

    g(mu) = s(T) + b'(x - x0) + shifts of batch and specimen + scatter

g is the identity or the logarithm, T the method's temperature, x the linear effects, s the smooth of
`pipeline.friction.smooth`; temperature may interact with the effects (`pipeline.friction.interaction`), which moves T. A specimen may be shifted in level and, its flank being where it is, along the
temperature. The scatter may change slowly with temperature and is larger on a flank, which turns a few kelvin
of temperature error into a large spread; neighbouring stops of one test may be alike (first-order
autocorrelation, decaying with the number of stops between them). The variances come from
`pipeline.friction.likelihood`.

Stray stops are held back by Huber's psi at `huber` standard deviations: the response is replaced by fit +
psi(residual) until nothing moves, which solves the M-estimator's equations; variances are corrected for the
cut (Huber and Ronchetti 2009, ch. 7).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from scipy import special

from pipeline.friction import smooth
from pipeline.friction.interaction import SHIFT_K
from pipeline.friction.likelihood import (
    CORRELATION,
    GROUPS,
    SCATTER_NODES,
    USUAL_SCATTER,
    USUAL_SHIFT_K,
    Data,
    bend_columns,
    design_of,
    missed_shape,
    most_likely,
    scatter_shape,
    sizes_of,
    solve,
)
from pipeline.friction.mixed import Profile
from pipeline.friction.neighbourhood import around

ROUNDS = 8
SETTLED = 0.05  # standard deviations of a stop
LEAST_SCATTER = 5e-4  # link units: equal stops are equal by the recorder's digits, not known without error
SLOPE_NODES = 200
FARTHEST_TURN_K = 30.0  # of the curve along the temperature in one round
GROSS, NEIGHBOURS = 6.0, 21
NEAR_K, FEWEST_NEAR = 30.0, 7
PLACES_KEPT = 16


@dataclass(frozen=True)
class Unscaled:
    """What fits that differ in their variances alone share at given conditions, m of them."""

    at: np.ndarray  # K, where the curve is read
    columns: np.ndarray  # (m, coefficients), random columns before they are scaled by their standard deviations


@dataclass(frozen=True)
class Fit:
    """A fitted model; `theta` the log variances, `solved` the coefficients of [1, T, x, bends, shift, groups]."""

    data: Data
    theta: np.ndarray
    solved: Profile
    scale: float  # variance of a usual stop, link units squared, corrected for the cut of strays
    inflation: float  # covariance of the coefficients over solved.inverse
    fitted: np.ndarray  # with the stop's own group shifts
    pulled: np.ndarray  # response with strays held back
    cut: np.ndarray  # psi(residual) / residual, 1 for a stop taken whole
    slope_at: tuple[np.ndarray, np.ndarray]  # temperatures and steepness there
    seen: dict[tuple[bytes, bytes], Unscaled] = field(default_factory=dict, repr=False, compare=False)

    @property
    def fixed(self) -> int:
        return 2 + self.data.linear.shape[1]

    @property
    def correlation(self) -> float:
        return float(self.theta[CORRELATION])

    def argument(self, temperature: np.ndarray, x: np.ndarray | None = None) -> np.ndarray:
        """Where the curve is read (K): the temperature itself, but for the shift of an interaction; x (m, effects)."""
        return temperature if self.data.interaction is None or x is None else self.unscaled(temperature, x).at

    def row(self, temperature: np.ndarray, x: np.ndarray) -> np.ndarray:
        """Rows of the design at new conditions (temperature in K, effects x (m, effects)), batches at their mean, shifts of
        specimens and cells zero; shape (m, coefficients).
        """
        return self.unscaled(temperature, x).columns * self.sizes

    @cached_property
    def sizes(self) -> np.ndarray:
        """Standard deviation of each column of `row` over the common scale; 1 of what is not random, (coefficients,)."""
        return sizes_of(self.data, self.theta)

    def unscaled(self, temperature: np.ndarray, x: np.ndarray) -> Unscaled:
        """The columns of `row` before `sizes`, not to be written into.

        A band asks for them at the same conditions from dozens of fits, so the last few are kept.
        """
        key = (np.ascontiguousarray(temperature, float).tobytes(), np.ascontiguousarray(x, float).tobytes())
        if key not in self.seen:
            if len(self.seen) >= PLACES_KEPT:
                del self.seen[next(iter(self.seen))]
            self.seen[key] = self.unscaled_anew(temperature, x)
        return self.seen[key]

    def unscaled_anew(self, temperature: np.ndarray, x: np.ndarray) -> Unscaled:
        data = self.data
        at = temperature if data.interaction is None else data.interaction.moved(temperature, x)
        contrasts = np.zeros((at.size, data.linear.shape[1] - data.effects))
        parts = [np.ones((at.size, 1)), ((at - data.low) / 100)[:, None], x, contrasts]
        parts.append(smooth.bend_basis(at, data.low, data.high, data.segments))
        if data.interaction is not None:
            parts.append(data.interaction.columns(x, self.steepness(at)))
        for group in data.groups:
            if group.of == "effects" and data.interaction is not None:
                parts.append(data.interaction.varying(temperature, x))
            else:
                parts.append(np.zeros((at.size, group.count)))
        return Unscaled(at, np.hstack(parts))

    def slope_row(self, temperature: np.ndarray) -> np.ndarray:
        """Rows of the curve's slope per K at the reference conditions."""
        bends = bend_columns(self.data, self.theta, temperature, slope=True)
        out = np.zeros((temperature.size, self.solved.coefficients.size))
        out[:, 1] = 1 / 100
        out[:, self.fixed : self.fixed + bends.shape[1]] = bends
        return out

    def curve_row(self, temperature: np.ndarray) -> np.ndarray:
        """Rows of the curve at the reference conditions."""
        return self.row(temperature, self.no_effects(temperature.size))

    def no_effects(self, count: int) -> np.ndarray:
        """Effects (count, effects) of the reference conditions."""
        return np.zeros((count, self.data.effects))

    def variance(self, rows: np.ndarray) -> np.ndarray:
        """Variance of rows @ coefficients, by the mixed-model equations; link units squared."""
        used = np.flatnonzero(rows.any(axis=0))  # shifts of specimens and cells are zero at new conditions
        rows = rows[:, used]
        return ((rows @ self.solved.inverse[np.ix_(used, used)]) * rows).sum(axis=1) * self.inflation

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

    def specimen_shifts(self) -> np.ndarray:
        """What each stop's batch and specimen add to the mean curve there, link units."""
        design, coefficients = design_of(self.data, self.theta), self.solved.coefficients
        first = self.data.effects + 2
        own = design[:, first : self.fixed] @ coefficients[first : self.fixed]
        at = self.fixed + self.data.segments + 1 + self.data.shifts
        for group in self.data.groups:
            if group.of == "specimen":
                own = own + design[:, at : at + group.count] @ coefficients[at : at + group.count]
            at += group.count
        return own

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
            if group.of == "specimen":
                total += variance * steep**2 if group.along else variance
        return total

    def lack_of_fit(self, at: np.ndarray) -> np.ndarray:
        """Variance of what the map misses where the curve is read at `at` (K), link units squared; 0 where it was not
        parted from the scatter."""
        pairs = zip(self.data.groups, self.level_variances(), strict=True)
        plateau = sum(variance for group, variance in pairs if group.of == "cell")
        return plateau * missed_shape(self.steepness(at)) ** 2

    def mean_variance(self, temperature: np.ndarray, x: np.ndarray) -> np.ndarray:
        """Variance of the true mean about the map's: the fit's and what the map misses there; link units squared."""
        return self.variance(self.row(temperature, x)) + self.lack_of_fit(self.argument(temperature, x))

    @property
    def effective_parameters(self) -> float:
        """Trace of the influence matrix: the freedom that curve, effects and shifts take up."""
        ridge = np.r_[np.zeros(self.fixed), np.ones(self.solved.coefficients.size - self.fixed)]
        return float(self.solved.coefficients.size - (np.diag(self.solved.inverse) * ridge).sum())


def fit(data: Data, *, huber: float, start: np.ndarray | None = None) -> Fit:
    """Fit by penalised restricted likelihood and Huber's psi; `data` sorted, its range and steepness are
    set here.
    """
    own = data.temperature
    data = placed(data, own)
    psi_square, psi_slope = huber_constants(huber)
    now, theta = replace(data, response=gross_held(data.temperature, data.response)), start
    nodes = np.linspace(data.low, data.high, SLOPE_NODES)
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
        slope_at = (nodes, found.slope_row(nodes) @ solved.coefficients / USUAL_SCATTER)
        moved = np.max(np.abs(fitted + held - now.response) / sd)
        data = turned_on(data, own, solved.coefficients[found.fixed + data.segments + 1 :])
        nodes = np.linspace(data.low, data.high, SLOPE_NODES)
        slope_at = (nodes, np.interp(nodes, *slope_at))
        steep = np.interp(data.temperature, *slope_at)
        turned = np.max(np.abs(steep - now.steepness))
        now = replace(data, response=fitted + held, steepness=steep)
        if moved < SETTLED and turned < SETTLED:
            break
    return found


def placed(data: Data, own: np.ndarray) -> Data:
    """The data with the temperatures (own, K) moved by the interaction's shift, and the range and knots that follow."""
    at = own if data.interaction is None else data.interaction.moved(own, data.linear[:, : data.effects])
    low, high = float(at.min()), float(at.max())
    high = max(high, low + 1.0)
    return replace(data, temperature=at, low=low, high=high, segments=smooth.segments_for(low, high))


def turned_on(data: Data, own: np.ndarray, coefficients: np.ndarray) -> Data:
    """The data with the shift turned on by what its columns found, their `coefficients` first, at most FARTHEST_TURN_K at once."""
    if data.interaction is None:
        return data
    step = coefficients[: data.shifts] * SHIFT_K / USUAL_SCATTER
    farthest = np.abs(data.interaction.features(data.linear[:, : data.effects]) @ step).max()
    step = step * min(1.0, FARTHEST_TURN_K / max(float(farthest), 1e-9))
    return placed(replace(data, interaction=replace(data.interaction, shift=data.interaction.shift + step)), own)


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
